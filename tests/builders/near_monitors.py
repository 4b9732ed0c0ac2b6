"""Two-way monitors in their own cabinets on a desk: their drivers as discs in rigid faces, solved as sound waves.

    python -m tests.builders.near_monitors            # rewrites tests/builders/data/near_monitors.json (some minutes)
    python -m tests.builders.near_monitors "monitors touching the desk"

By reciprocity: a point source stands at the ear, and the mean pressure over a driver's disc is what that driver, moving
as one, sends to the ear.  The pressure on the disc is one more application of the equation of `near_bem`, p = 2 (p_in +
integral), at points spread over it, and so is as good as anywhere in the air.  What a driver sends straight ahead of
its cabinet, standing free, is the mean over its disc of a plane wave's pressure that comes from there; it counts as 1.

Meshes, extrapolation and places are those of `near_scenes`.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from tests.builders.near_bem import Box, images, radiated, solve
from tests.builders.near_scenes import (
    LARGEST_M,
    PANELS_A_WAVELENGTH,
    TOP,
    NearScene,
    Piece,
    Point,
    desk,
    screen,
    store,
    toward_no_panels,
    turn,
)
from tests.builders.plate_bem import SPEED_M_S

SAVED = Path(__file__).parent / "data" / "near_monitors.json"
SIZE_M = np.array([0.23, 0.18, 0.29])
"""Depth, width and height of the cabinet."""
TWEETER_ABOVE_M = 0.22
DISCS = (("woofer", 0.0525, -0.15), ("tweeter", 0.0125, 0.0))
"""Radius, and height above the acoustic axis point, which is at the tweeter."""
CROSSOVER_HZ = 1000.0
RINGS, SPOKES = 4, 12
FINE_M = (0.050, 0.036)


@dataclass(frozen=True)
class Monitor:
    """A cabinet by its acoustic axis point, and how far it is turned, counter-clockwise from above."""

    axis: Point
    turned_deg: float

    @property
    def box(self) -> Box:
        """The cabinet."""
        axes = turn(self.turned_deg)
        middle = np.array(self.axis) - 0.5 * SIZE_M[0] * axes[0] + (0.5 * SIZE_M[2] - TWEETER_ABOVE_M) * axes[2]
        return Box(middle, SIZE_M, axes)

    def points(self, radius: float, above: float) -> tuple[np.ndarray, np.ndarray]:
        """Points (n, 3) spread over a disc in the face, and their shares of it (n,): Gauss points in r squared."""
        nodes, weights = np.polynomial.legendre.leggauss(RINGS)
        r = radius * np.sqrt(0.5 * (nodes + 1.0))
        angles = 2.0 * np.pi * np.arange(SPOKES) / SPOKES
        axes = turn(self.turned_deg)
        across, up = (np.outer(r, part(angles)).ravel() for part in (np.cos, np.sin))
        points = np.array(self.axis) + across[:, None] * axes[1] + (up + above)[:, None] * axes[2]
        return points, np.repeat(0.5 * weights / SPOKES, SPOKES)


@dataclass(frozen=True)
class MonitorScene:
    """Monitors of one kind with what else stands there; sources are woofer and tweeter of each in turn.

    largest_m: longest panels of the coarse and of the fine mesh; narrow slots want finer ones.
    """

    kind: str
    monitors: tuple[Monitor, ...]
    pieces: tuple[Piece, ...]
    ears: tuple[Point, ...] = ((4.0, 4.0, 1.18), (4.12, 4.15, 1.12))
    to_hz: float = 1300.0
    largest_m: tuple[float, float] = LARGEST_M

    @property
    def frequencies_hz(self) -> tuple[float, ...]:
        """Third-octaves from 200 Hz."""
        return self.among.frequencies_hz

    @property
    def among(self) -> NearScene:
        """The same as a scene of point sources at the drivers."""
        return NearScene(self.kind, self.pieces, (), self.sources, self.ears, to_hz=self.to_hz)

    @property
    def sources(self) -> tuple[Point, ...]:
        """Middles of the drivers."""
        return tuple((one.axis[0], one.axis[1], one.axis[2] + above) for one in self.monitors for _, _, above in DISCS)

    @property
    def bodies(self) -> list[Box]:
        """All that stands there, cabinets last."""
        return [piece.box for piece in self.pieces] + [one.box for one in self.monitors]

    def text(self, ears: tuple[Point, ...]) -> str:
        """The scene file for one or two of the ears."""
        lines = self.among.text(ears).split("[[loudspeakers]]")
        room, furniture = lines[0], lines[-1].split("\n", 4)[-1]
        tables = [room, '[models.monitor]\nkind = "two-way"\nwidth = 0.18\nheight = 0.29\ndepth = 0.23\nspacing = 0.15']
        tables += ["woofer_diameter = 0.105\ntweeter_diameter = 0.025", f"crossovers_hz = [{CROSSOVER_HZ}]"]
        for number, one in enumerate(self.monitors):
            x, y, z = one.axis
            tables += ["[[loudspeakers]]", f'name = "monitor {number + 1}"\nmodel = "monitor"']
            tables += [f"acoustic_axis = {{ from_front = {x}, from_left = {y}, up = {z} }}"]
            tables += [f"toe_in_deg = {one.turned_deg if y < 4.0 else -one.turned_deg}"]
        return "\n".join([*tables, furniture])


def _pair(above_desk: float, toe_in: float, far: float = 3.30, apart: float = 0.52) -> tuple[Monitor, ...]:
    height = TOP + above_desk + TWEETER_ABOVE_M
    return tuple(Monitor((far, 4.0 + side * 0.5 * apart, height), -side * toe_in) for side in (-1.0, 1.0))


SCENES: dict[str, MonitorScene] = {
    "monitors touching the desk": MonitorScene("monitors", _pair(0.0, 0.0), (desk(),)),
    "monitors touching the desk, toed in 30 degrees": MonitorScene("monitors", _pair(0.0, 30.0), (desk(),)),
    "monitors on 5 cm pads": MonitorScene("monitors", _pair(0.05, 0.0), (desk(),)),
    "monitors on 5 cm pads, toed in 30 degrees": MonitorScene("monitors", _pair(0.05, 30.0), (desk(),)),
    "monitors on pads, toed in, screen between": MonitorScene(
        "monitors", _pair(0.05, 25.0, apart=0.66), (desk(), screen((3.20, 4.0, TOP), (0.40, 0.30)))
    ),
    "low screen hides the woofers": MonitorScene(
        "monitors behind a low screen",
        _pair(0.0, 20.0),
        (desk(), screen((3.46, 4.0, TOP), (0.80, 0.20))),
        largest_m=FINE_M,
    ),
    "low screen hides the woofers, on pads": MonitorScene(
        "monitors behind a low screen",
        _pair(0.03, 20.0),
        (desk(), screen((3.46, 4.0, TOP), (0.80, 0.22))),
        largest_m=FINE_M,
    ),
}


@dataclass(frozen=True)
class MonitorReference:
    """Stored pressures of one scene, 1 being what a driver sends to 1 m straight ahead of its lone cabinet.

    Attributes
    ----------
    frequencies_hz
        (f,)
    direct, total
        (source, ear, f) e^{-jkr}/r from the driver's middle and what arrives, at e^{+j omega t}.
    mesh_db
        (source, ear, f) extrapolated total minus the finer mesh.
    lit
        (source, ear) whether nothing stands between.
    """

    name: str
    scene: MonitorScene
    frequencies_hz: np.ndarray
    direct: np.ndarray
    total: np.ndarray
    mesh_db: np.ndarray
    lit: np.ndarray

    def summed(self, of: np.ndarray) -> np.ndarray:
        """Woofer and tweeter together (monitor, ear, f), by a Linkwitz-Riley crossover of fourth order.

        Linkwitz, J. Audio Eng. Soc. 24 (1976) 2-8: the square of a Butterworth of second order, both in phase.
        """
        s = 1j * self.frequencies_hz / CROSSOVER_HZ
        low, high = 1.0 / (1.0 + np.sqrt(2.0) * s + s**2) ** 2, s**4 / (1.0 + np.sqrt(2.0) * s + s**2) ** 2
        return np.asarray(of[0::2] * low + of[1::2] * high)


def hidden(scene: MonitorScene, source: Point, ear: Point) -> bool:
    """Whether something stands on the straight line between both, by 4001 points; a driver's own face does not."""
    line = np.array(source) + np.linspace(0.0, 1.0, 4001)[1:, None] * (np.array(ear) - np.array(source))
    return any(body.contains(line, 1e-6).any() for body in scene.bodies)


def references() -> list[MonitorReference]:
    """All stored scenes in the order of `SCENES`."""
    saved, found = json.loads(SAVED.read_text(encoding="utf-8")), []
    for name, scene in SCENES.items():
        if name not in saved:
            continue
        frequencies = np.array(saved[name]["frequencies_hz"])
        ratio, mesh = (np.array(saved[name][key]) for key in ("total_re_direct", "mesh_db"))
        r = np.linalg.norm(np.array(scene.sources)[:, None] - np.array(scene.ears)[None], axis=2)[..., None]
        direct = np.exp(-2j * np.pi * frequencies / SPEED_M_S * r) / r
        lit = np.array([[not hidden(scene, s, e) for e in scene.ears] for s in scene.sources])
        found.append(MonitorReference(name, scene, frequencies, direct, direct * (ratio @ [1.0, 1.0j]), mesh, lit))
    return found


def on_discs(
    bodies: Sequence[Box],
    monitors: Sequence[Monitor],
    incident: partial[np.ndarray],
    frequency_hz: float,
    step: float,
) -> tuple[np.ndarray, int]:
    """Mean pressure over each driver's disc (driver, field) in given fields, and how many panels there were."""
    places = [one.points(radius, above) for one in monitors for _, radius, above in DISCS]
    points = np.concatenate([one for one, _ in places])
    there, panels = solve(bodies, (), incident, points, frequency_hz, step)
    shares = np.array([weights for _, weights in places])
    return 2.0 * (there.reshape(*shares.shape, -1) * shares[..., None]).sum(axis=1), panels


def _from_ears(ears: np.ndarray, points: np.ndarray, k: float) -> np.ndarray:
    return radiated(ears, points, k, images(()))


def _from_ahead(monitor: Monitor, points: np.ndarray, k: float) -> np.ndarray:
    """Plane waves (n, driver) that come from straight ahead, their phase counted from each driver's middle."""
    ways = (points - np.array(monitor.axis)) @ turn(monitor.turned_deg)[0]
    return np.repeat(np.exp(1j * k * ways)[:, None], len(DISCS), axis=1)


def make(names: list[str]) -> None:
    """Solve the named scenes on both meshes and store them."""
    for name in names:
        scene, begun = SCENES[name], time.monotonic()
        sources, ears = np.array(scene.sources), np.array(scene.ears)
        alone = Monitor((0.0, 0.0, 0.0), 0.0)
        ratios, apart = [], []
        for frequency in scene.frequencies_hz:
            k, totals, counts = 2.0 * np.pi * frequency / SPEED_M_S, [], []
            for count, largest in zip(PANELS_A_WAVELENGTH, scene.largest_m, strict=True):
                step = min(largest, SPEED_M_S / frequency / count)
                got, panels = on_discs(scene.bodies, scene.monitors, partial(_from_ears, ears), frequency, step)
                ahead, _ = on_discs([alone.box], [alone], partial(_from_ahead, alone), frequency, step)
                sent = got / np.tile(np.diag(ahead), len(scene.monitors))[:, None]
                totals.append(sent / radiated(sources, ears, k, images(())).T)
                counts.append(panels)
            best, off = toward_no_panels(totals, counts)
            ratios.append(best)
            apart.append(off)
        store(SAVED, name, scene.frequencies_hz, ratios, apart, f"{counts[1]} panels, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    make(sys.argv[1:] or list(SCENES))
