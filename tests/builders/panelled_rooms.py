"""Measurements of an invented room before and after its panels, by images on a lattice and a textbook's wool.

    python -m tests.builders.panelled_rooms    # what `proof` says of it, with one panel left out

Every image's straight line is folded back into the box; where it meets a wall inside a panel, the wall's reflection
factor gives way to that of 100 mm of wool on something hard, reacting locally (Delany and Bazley, Appl. Acoust. 3
(1970) 105-116).  Nothing here knows how the program traces or what it takes wool for.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from tests.builders.lattice_rooms import SPEED_M_S, WALLS
from tests.room_texts import room_text

SIZE = np.array([4.6, 3.6, 2.6])
EAR = np.array([1.75, 1.8, 1.2])
SOURCES = {"left": np.array([0.7, 1.15, 1.2]), "right": np.array([0.7, 2.45, 1.2])}
ABSORPTION = 0.08
FLOW_RESISTIVITY = 12_000.0
THICK_M = 0.1
RATE_HZ = 48_000
NOISE_DB = -60.0


@dataclass(frozen=True)
class HungPanel:
    """A panel on a wall: its name, number of the axis, which wall of it, and its spans over the other two axes."""

    name: str
    axis: int
    far: int
    spans: tuple[tuple[float, float], tuple[float, float]]

    @property
    def wall(self) -> str:
        """Name of the wall it hangs on."""
        return WALLS[2 * self.axis + self.far]


PANELS = (
    HungPanel("left panel", 1, 0, ((0.55, 1.75), (0.6, 1.8))),
    HungPanel("right panel", 1, 1, ((0.55, 1.75), (0.6, 1.8))),
    HungPanel("cloud", 2, 1, ((0.6, 1.8), (0.9, 2.7))),
)
_KEYS = ("from_front", "from_left", "up")


def scene_text(target: str = "") -> str:
    """The scene with all its panels."""
    panels = []
    for one in PANELS:
        across = [axis for axis in range(3) if axis != one.axis]
        spans = "\n".join(f"{_KEYS[axis]} = {[*span]}" for axis, span in zip(across, one.spans, strict=True))
        fixed = 'fixings = "four anchors into joists, second tether"' if one.axis == 2 else ""
        panels.append(
            f'[[panels]]\nname = "{one.name}"\nsurface = "{one.wall}"\nmaterial = "100 mm wool"\n{spans}\n{fixed}\n'
        )
    return room_text(
        (SIZE[1], SIZE[0], SIZE[2]),
        tuple(EAR),
        {name: tuple(place) for name, place in SOURCES.items()},
        head='title = "demo room with panels"\nunits = "m"',
        room='materials = { all = "hard" }\n[materials.hard]\n'
        f'absorption = {[ABSORPTION] * 8}\nsource = "made up for a test"',
        listener="head_box = { depth = 0.0, across = 0.0, up = 0.0 }",
        more=f"[method]\norder = 3\nwaves_to_hz = 0\n[target]\n{target or 'level_db = -10.0'}\n" + "\n".join(panels),
    )


def wool_factor(hz: np.ndarray, cosine: float) -> np.ndarray:
    """Reflection factor (f,) of wool on something hard, the sound coming at an angle."""
    density = 1.204
    x = np.maximum(density * hz / FLOW_RESISTIVITY, 1e-4)
    impedance = density * SPEED_M_S * (1.0 + 0.0571 * x**-0.754 - 0.087j * x**-0.732)
    number = 2.0 * np.pi * hz / SPEED_M_S * (1.0 + 0.0978 * x**-0.700 - 0.189j * x**-0.595)
    surface = -1j * impedance / np.tan(number * THICK_M + 1e-12)
    return np.asarray((surface * cosine - density * SPEED_M_S) / (surface * cosine + density * SPEED_M_S))


def measured(
    folder: Path, name: str, hung: Collection[str], *, shift: np.ndarray | None = None, seed: int = 1, gain: float = 0.5
) -> list[Path]:
    """Files of both loudspeakers with some of the panels on the walls, the microphone off by `shift`."""
    rng = np.random.default_rng(seed)
    ear = EAR + (np.zeros(3) if shift is None else shift)
    count = RATE_HZ // 4
    hz = np.fft.rfftfreq(count, 1.0 / RATE_HZ)
    shape = np.cos(0.5 * np.pi * np.clip((hz / RATE_HZ - 0.42) / 0.06, 0.0, 1.0)) ** 2
    shape /= np.sqrt(1.0 + (30.0 / np.maximum(hz, 1e-3)) ** 4)
    panels = [one for one in PANELS if one.name in hung]
    files = []
    for side, source in SOURCES.items():
        spectrum = np.zeros(len(hz), dtype=complex)
        for place in _lattice(source, ear, 9.0):
            length = float(np.linalg.norm(place - ear))
            factor = np.ones(len(hz), dtype=complex)
            for axis, far, point in _touched(place, ear):
                on = [one for one in panels if (one.axis, one.far) == (axis, far) and _inside(one, point)]
                cosine = abs(place[axis] - ear[axis]) / length
                factor = factor * (wool_factor(hz, cosine) if on else np.sqrt(1.0 - ABSORPTION))
            spectrum += factor / length * np.exp(-2j * np.pi * hz * (0.02 + length / SPEED_M_S))
        wave = np.fft.irfft(spectrum * shape, count)
        wave += rng.normal(size=count) * np.abs(wave).max() * 10.0 ** (NOISE_DB / 20.0)
        files.append(folder / f"{name}-{side}.wav")
        wavfile.write(files[-1], RATE_HZ, (wave / np.abs(wave).max() * gain).astype(np.float32))
    return files


def _lattice(source: np.ndarray, ear: np.ndarray, furthest_m: float) -> list[np.ndarray]:
    """Images of a point in the box that are near enough."""
    reach = [int(np.ceil(furthest_m / (2.0 * side))) + 1 for side in SIZE]
    found = []
    for flips in np.ndindex(2, 2, 2):
        for cell in np.ndindex(*(2 * r + 1 for r in reach)):
            place = 2.0 * (np.array(cell) - reach) * SIZE + np.where(np.array(flips) == 1, -source, source)
            if np.linalg.norm(place - ear) <= furthest_m:
                found.append(place)
    return found


def _touched(place: np.ndarray, ear: np.ndarray) -> list[tuple[int, int, np.ndarray]]:
    """Where the folded line from the ear to an image meets walls: axis, 1 for the far wall, and the point."""
    found = []
    for axis in range(3):
        low, high = sorted((ear[axis], place[axis]))
        for cell in range(int(np.ceil(low / SIZE[axis])), int(np.floor(high / SIZE[axis])) + 1):
            share = (cell * SIZE[axis] - ear[axis]) / (place[axis] - ear[axis])
            point = ear + share * (place - ear)
            folded = np.abs((point + SIZE) % (2.0 * SIZE) - SIZE)
            found.append((axis, cell % 2, folded))
    return found


def _inside(panel: HungPanel, point: np.ndarray) -> bool:
    others = [axis for axis in range(3) if axis != panel.axis]
    return all(low <= point[axis] <= high for axis, (low, high) in zip(others, panel.spans, strict=True))


if __name__ == "__main__":
    import sim

    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        (home / "scene.toml").write_text(scene_text(), encoding="utf-8")
        everything = [one.name for one in PANELS]
        before = measured(home, "before", ())
        after = measured(home, "after", everything[: 2 if "all" not in sys.argv else 3], seed=2)
        print(sim.words(sim.proof(home / "scene.toml", before, after)))  # noqa: T201
