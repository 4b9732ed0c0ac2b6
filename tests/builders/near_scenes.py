"""Scenes of what stands near a loudspeaker, each with its boundary-element pressures: one entry of `SCENES` gives both.

    python -m tests.builders.near_scenes              # rewrites tests/builders/data/near_scenes.json (some minutes)
    python -m tests.builders.near_scenes "bare desk"  # these scenes alone

Each scene is solved on two meshes.  The error falls with the area of a panel (as in `plate_bem`), so the stored total
is extrapolated from both; `mesh_db` says how far it lies from the finer one.  `references()` reads what is stored.

Places are from front, from left, up, in metres, in a room that takes everything (`open`) but for its rigid planes.
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

from tests.builders.near_bem import Admittance, Box, images, radiated, solve
from tests.builders.plate_bem import SPEED_M_S

SAVED = Path(__file__).parent / "data" / "near_scenes.json"
FREQUENCIES_HZ = tuple(round(1000.0 * 10.0 ** (n / 10.0), 2) for n in range(-7, 4))
"""Third-octaves 200 Hz to 2 kHz, if a scene goes there."""
PANELS_A_WAVELENGTH = (5.0, 7.0)
LARGEST_M = (0.070, 0.050)
Point = tuple[float, float, float]


@dataclass(frozen=True)
class Piece:
    """A body and its table in a scene file."""

    box: Box
    text: str


def turn(degrees: float) -> np.ndarray:
    """Axes (3, 3) turned about the vertical, counter-clockwise from above."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def desk(
    near: float = 3.6, top: float = 0.74, tilt: float = 0.0, soft: str = "rigid", beta: Admittance | None = None
) -> Piece:
    """A bare plate 1.0 x 0.6 m, 3 cm thick, hinged at its near edge."""
    c, s = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
    axes = np.array([[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]])
    depth = 0.6 / c
    middle = np.array([near, 4.0, top]) - 0.5 * depth * axes[0] - 0.015 * axes[2]
    text = f'kind = "desk"\nfrom_front = [{near - 0.6:.4f}, {near}]\nfrom_left = [3.5, 4.5]\n'
    text += f"top = {top}\ntilt_deg = {tilt}"
    box = Box(middle, np.array([depth, 1.0, 0.03]), axes, {} if beta is None else dict.fromkeys(range(6), beta))
    return Piece(box, text + f'\nmaterial = "{soft}"')


def screen(at: Point, size: tuple[float, float], degrees: float = 0.0) -> Piece:
    """A screen 4 cm thick by the middle of the lower edge of its face."""
    middle = np.array(at) + 0.5 * size[1] * np.array([0.0, 0.0, 1.0]) - 0.02 * turn(degrees)[0]
    text = f'kind = "screen"\nat = {{ from_front = {at[0]}, from_left = {at[1]}, up = {at[2]} }}\nwidth = {size[0]}\n'
    text += f'height = {size[1]}\nthickness = 0.04\nturn_deg = {degrees}\nmaterial = "rigid"'
    return Piece(Box(middle, np.array([0.04, size[0], size[1]]), turn(degrees)), text)


def block(low: Point, high: Point, degrees: float = 0.0) -> Piece:
    """A rigid box, turned about its middle."""
    a, b = np.array(low), np.array(high)
    spans = [
        f"{key} = [{x:.4f}, {y:.4f}]" for key, x, y in zip(("from_front", "from_left", "up"), low, high, strict=True)
    ]
    text = "\n".join(['kind = "block"', *spans, f"turn_deg = {degrees}", 'material = "rigid"'])
    return Piece(Box(0.5 * (a + b), b - a, turn(degrees)), text)


def felt(thickness: float, resistivity: float) -> Admittance:
    """Admittance of a porous layer on a rigid back, sound running straight through it only.

    Miki, J. Acoust. Soc. Jpn. (E) 11 (1990) 19-24.
    """

    def beta(frequency_hz: float) -> complex:
        y = 1000.0 * frequency_hz / resistivity
        z = 1.0 + 5.50 * y**-0.632 - 8.43j * y**-0.632
        k = 2.0 * np.pi * frequency_hz / SPEED_M_S * (1.0 + 7.81 * y**-0.618 - 11.41j * y**-0.618)
        return complex(1j * np.tan(k * thickness) / z)

    return beta


@dataclass(frozen=True)
class NearScene:
    """What stands there, rigid planes (axis, place), sources and ears, and tables of the scene file besides.

    to_hz: where its third-octaves end; above, the finer mesh of several bodies takes minutes a frequency.
    """

    kind: str
    pieces: tuple[Piece, ...]
    planes: tuple[tuple[int, float], ...] = ()
    sources: tuple[Point, ...] = ((3.12, 3.62, 1.02), (2.80, 4.25, 0.62))
    ears: tuple[Point, ...] = ((4.0, 4.0, 1.18), (4.12, 4.15, 1.12), (3.92, 3.82, 1.26), (4.05, 4.1, 0.56))
    more: str = ""
    to_hz: float = 1300.0

    @property
    def frequencies_hz(self) -> tuple[float, ...]:
        """Third-octaves from 200 Hz."""
        return tuple(f for f in FREQUENCIES_HZ if f < self.to_hz)

    def text(self, ears: tuple[Point, ...]) -> str:
        """The scene file for one or two of the ears."""

        def point(p: Point) -> str:
            return f"{{ from_front = {p[0]}, from_left = {p[1]}, up = {p[2]} }}"

        names = {0: "front wall", 2: "floor"}
        rigid = "".join(f', "{names[axis]}" = "rigid"' for axis, _ in self.planes)
        lines = ["[room]", "box = { width = 8.0, depth = 8.0, height = 4.0 }"]
        lines += [f'materials = {{ all = "open"{rigid} }}', "[listener]", f"ear = {point(ears[0])}"]
        if len(ears) > 1:
            lines += [f'second_seat = {{ name = "other", ear = {point(ears[1])} }}']
        for n, source in enumerate(self.sources):
            lines += [
                "[[loudspeakers]]",
                f'name = "source {n + 1}"',
                'model = "point"',
                f"acoustic_axis = {point(source)}",
            ]
        for n, piece in enumerate(self.pieces):
            lines += ["[[furniture]]", f'name = "piece {n + 1}"', piece.text]
        return "\n".join([*lines, self.more, ""])


FLOOR = ((2, 0.0),)
WALL = ((0, 0.0),)
BEHIND: tuple[Point, ...] = ((3.12, 3.62, 1.02), (3.06, 4.10, 0.90))
TOP = 0.74
AT_WALL: tuple[Point, ...] = ((1.0, 4.0, 1.18), (1.12, 4.15, 1.12), (0.92, 3.82, 1.26), (1.05, 4.1, 0.56))
FELT = """[materials.felt]
layers = [{ porous = "10 mm", flow_resistivity = 30000, divided = true }]
[materials.foam]
layers = [{ porous = "30 mm", flow_resistivity = 15000, divided = true }]
"""


def _with_screen(gap: float, width: float = 0.55, degrees: float = 0.0, height: float = 0.33) -> tuple[Piece, ...]:
    return desk(), screen((3.22, 4.0, TOP + gap), (width, height), degrees)


def _with_cabinet(gap: float, degrees: float = 0.0) -> tuple[Piece, ...]:
    return desk(), block((3.10, 3.70, TOP + gap), (3.33, 3.88, TOP + gap + 0.29), degrees)


BESIDE: tuple[Point, ...] = ((3.12, 3.58, 1.02), (3.05, 3.80, 0.86))
SCENES: dict[str, NearScene] = {
    "bare desk": NearScene("bare desk", (desk(),), to_hz=1700.0),
    "desk, screen touching": NearScene("desk and screen", _with_screen(0.0), sources=BEHIND, to_hz=1700.0),
    "desk, screen 8 cm above": NearScene("desk and screen", _with_screen(0.08), sources=BEHIND),
    "desk, cabinet touching": NearScene("desk and cabinet", _with_cabinet(0.0), sources=BESIDE),
    "desk over a floor": NearScene("floor", (desk(),), FLOOR),
    "desk, cabinet on 6 cm": NearScene("desk and cabinet", _with_cabinet(0.06), sources=BESIDE),
    "solid console on a floor": NearScene("floor", (block((3.0, 3.5, 0.0), (3.6, 4.5, TOP)),), FLOOR),
    "desk tilted 12 degrees": NearScene("tilted", (desk(tilt=12.0),), sources=((3.12, 3.62, 1.12), (2.80, 4.25, 0.62))),
    "desk tilted -8 degrees": NearScene("tilted", (desk(tilt=-8.0),)),
    "desk, screen touching, turned 20 degrees": NearScene("turned", _with_screen(0.0, 0.45, 20.0), sources=BEHIND),
    "desk, screen 8 cm above, turned 20 degrees": NearScene("turned", _with_screen(0.08, 0.45, 20.0), sources=BEHIND),
    "desk, two screens turned, touching": NearScene(
        "turned",
        (desk(), screen((3.25, 3.76, TOP), (0.40, 0.28), -15.0), screen((3.25, 4.24, TOP), (0.40, 0.28), 15.0)),
        sources=BEHIND,
    ),
    "desk 2 cm from a wall": NearScene("wall", (desk(0.62),), WALL, ((0.14, 3.62, 1.02), (0.20, 4.2, 0.55)), AT_WALL),
    "slot between wall and screen": NearScene(
        "wall",
        (desk(0.62), screen((0.22, 4.0, TOP), (0.55, 0.33))),
        WALL,
        ((0.10, 3.95, 0.90), (0.14, 3.55, 1.02)),
        AT_WALL,
    ),
    "source under the far edge": NearScene("shadow", (desk(),), sources=((3.02, 3.9, 0.66), (2.95, 4.1, 0.74))),
    "source under the far edge, floor": NearScene("shadow", (desk(),), FLOOR, ((3.02, 3.9, 0.66), (2.95, 4.1, 0.74))),
    "bridge with two cabinets": NearScene(
        "bridge",
        (
            desk(),
            block((3.02, 3.6, TOP), (3.25, 4.4, TOP + 0.12)),
            block((3.03, 3.66, TOP + 0.12), (3.22, 3.82, TOP + 0.36)),
            block((3.03, 4.18, TOP + 0.12), (3.22, 4.34, TOP + 0.36)),
        ),
        sources=((3.26, 3.74, 1.02), (3.10, 4.0, 1.0)),
    ),
    "desk, low screen": NearScene(
        "desk and screen", _with_screen(0.0, 0.70, 0.0, 0.16), sources=((3.10, 3.9, 0.80), (3.10, 3.9, 1.02))
    ),
    "desk, screen 1 mm above": NearScene("gap", _with_screen(0.001), sources=BEHIND),
    "desk, screen 10 mm above": NearScene("gap", _with_screen(0.010), sources=BEHIND),
    "desk, screen 30 mm above": NearScene("gap", _with_screen(0.030), sources=BEHIND),
    "desk, cabinet turned, touching": NearScene("desk and cabinet", _with_cabinet(0.0, 25.0), sources=BESIDE),
    "desk, cabinet turned, on 6 cm": NearScene("desk and cabinet", _with_cabinet(0.06, 25.0), sources=BESIDE),
    "desk, screen and cabinets": NearScene(
        "desk and screen",
        (
            *_with_screen(0.0, 0.45),
            block((3.06, 3.54, TOP), (3.26, 3.70, TOP + 0.26)),
            block((3.06, 4.30, TOP), (3.26, 4.46, TOP + 0.26)),
        ),
        sources=((3.29, 3.62, 0.94), (3.10, 4.0, 0.92)),
    ),
    "desk, screen 8 cm above, floor": NearScene("floor", _with_screen(0.08), FLOOR, BEHIND),
    "desk, screen touching, floor": NearScene("floor", _with_screen(0.0), FLOOR, BEHIND),
    "soft desk, felt": NearScene("soft", (desk(soft="felt", beta=felt(0.010, 30000.0)),), more=FELT, to_hz=1700.0),
    "soft desk, foam": NearScene("soft", (desk(soft="foam", beta=felt(0.030, 15000.0)),), more=FELT),
    "one small facet": NearScene(
        "small facets",
        (block((3.0, 3.0, 0.8), (3.31, 3.26, 1.11)),),
        sources=((2.6, 3.7, 0.95), (2.7, 2.7, 0.95)),
        ears=((3.7, 3.7, 0.95), (3.8, 3.9, 1.05), (3.5, 3.5, 0.90), (3.8, 3.3, 0.95)),
    ),
    "two small facets": NearScene(
        "small facets",
        (block((3.0, 3.0, 0.8), (3.31, 3.26, 1.11)), block((3.3, 4.1, 0.8), (3.61, 4.36, 1.11))),
        sources=((2.6, 3.7, 0.95), (2.7, 2.7, 0.95)),
        ears=((3.9, 3.7, 0.95), (3.8, 3.9, 1.05), (3.5, 3.5, 0.90), (3.8, 3.3, 0.95)),
    ),
    "lone cabinet": NearScene(
        "cabinet", (block((3.0, 3.9, 0.8), (3.25, 4.1, 1.15)),), sources=((3.30, 4.0, 1.05), (2.8, 4.0, 1.0))
    ),
}


UNSOLVED: tuple[str, ...] = ()
"""Defined above and not stored yet; `make` solves them like the others."""


@dataclass(frozen=True)
class Reference:
    """Stored pressures of one scene.

    Attributes
    ----------
    frequencies_hz
        (f,)
    direct, total
        (source, ear, f) e^{-jkr}/r and what arrives, at e^{+j omega t}.
    mesh_db
        (source, ear, f) extrapolated total minus the finer mesh.
    lit
        (source, ear) whether nothing stands between.
    """

    name: str
    scene: NearScene
    frequencies_hz: np.ndarray
    direct: np.ndarray
    total: np.ndarray
    mesh_db: np.ndarray
    lit: np.ndarray


def sees(scene: NearScene, source: Point, ear: Point) -> bool:
    """Whether the straight line between both is free, by 4001 points on it."""
    line = np.array(source) + np.linspace(0.0, 1.0, 4001)[:, None] * (np.array(ear) - np.array(source))
    return not any(piece.box.contains(line).any() for piece in scene.pieces)


def references() -> list[Reference]:
    """All stored scenes in the order of `SCENES`."""
    return stored_in(SAVED, SCENES)


def stored_in(saved_in: Path, scenes: dict[str, NearScene]) -> list[Reference]:
    """What a file holds of some scenes, in their order."""
    saved, found = json.loads(saved_in.read_text(encoding="utf-8")), []
    for name, scene in scenes.items():
        if name not in saved:
            continue
        frequencies = np.array(saved[name]["frequencies_hz"])
        ratio, mesh = (np.array(saved[name][key]) for key in ("total_re_direct", "mesh_db"))
        r = np.linalg.norm(np.array(scene.sources)[:, None] - np.array(scene.ears)[None], axis=2)[..., None]
        direct = np.exp(-2j * np.pi * frequencies / SPEED_M_S * r) / r
        lit = np.array([[sees(scene, s, e) for e in scene.ears] for s in scene.sources])
        total = direct * (ratio @ np.array([1.0, 1.0j]))
        found.append(Reference(name, scene, frequencies, direct, total, mesh, lit))
    return found


def _incident(sources: np.ndarray, mirrors: tuple[np.ndarray, np.ndarray], points: np.ndarray, k: float) -> np.ndarray:
    return radiated(sources, points, k, mirrors)


def toward_no_panels(totals: Sequence[np.ndarray], counts: Sequence[int]) -> tuple[np.ndarray, np.ndarray]:
    """The limit of two meshes, whose error goes with a panel's area, and how far off it the finer is in dB."""
    gain = counts[0] / counts[1]
    best = (totals[1] - gain * totals[0]) / (1.0 - gain)
    return best, 20.0 * np.log10(np.abs(best / totals[1]))


def store(
    saved_in: Path,
    name: str,
    frequencies_hz: Sequence[float],
    ratios: Sequence[np.ndarray],
    apart: Sequence[np.ndarray],
    words: str,
) -> None:
    """Put what was solved of a scene at each frequency into a file, and say how far its meshes are apart."""
    ratio, mesh = np.moveaxis(ratios, 0, 2), np.moveaxis(apart, 0, 2)
    heard = np.abs(ratio) > 10.0 ** (-15.0 / 20.0)
    sys.stdout.write(
        f"{name}: {words}, meshes {np.sqrt((mesh[heard] ** 2).mean()):.2f} dB apart, "
        f"{np.abs(mesh[heard]).max():.2f} at most\n"
    )
    sys.stdout.flush()
    saved = json.loads(saved_in.read_text(encoding="utf-8")) if saved_in.exists() else {}
    saved[name] = {
        "frequencies_hz": frequencies_hz,
        "total_re_direct": np.stack([ratio.real, ratio.imag], axis=-1).round(5).tolist(),
        "mesh_db": mesh.round(3).tolist(),
    }
    lines = ",\n".join(f"{json.dumps(key)}: {json.dumps(saved[key])}" for key in saved)
    saved_in.write_text("{\n" + lines + "\n}\n", encoding="utf-8")


def make(names: list[str]) -> None:
    """Solve the named scenes on both meshes and store them."""
    make_into(SAVED, SCENES, names)


def make_into(saved_in: Path, scenes: dict[str, NearScene], names: list[str]) -> None:
    """The same of other scenes, for a file of their own."""
    for name in names:
        scene, begun = scenes[name], time.monotonic()
        sources, ears = np.array(scene.sources), np.array(scene.ears)
        bodies, alone = [piece.box for piece in scene.pieces], images([])
        incident = partial(_incident, sources, images(scene.planes))
        ratios, apart = [], []
        for frequency in scene.frequencies_hz:
            totals, counts = [], []
            for count, largest in zip(PANELS_A_WAVELENGTH, LARGEST_M, strict=True):
                step = min(largest, SPEED_M_S / frequency / count)
                total, panels = solve(bodies, scene.planes, incident, ears, frequency, step)
                totals.append(total.T / radiated(sources, ears, 2.0 * np.pi * frequency / SPEED_M_S, alone).T)
                counts.append(panels)
            best, off = toward_no_panels(totals, counts)
            ratios.append(best)
            apart.append(off)
        store(
            saved_in, name, scene.frequencies_hz, ratios, apart, f"{counts[1]} panels, {time.monotonic() - begun:.0f} s"
        )


if __name__ == "__main__":
    make(sys.argv[1:] or list(SCENES))
