"""Measurements of invented rooms whose truth is known: random boxes, a seat 5 cm off, noise, a cupboard nobody drew.

    python -m tests.builders.measured_rooms 200 1    # 200 rooms from seed 1: how many peaks get the right name
    python -m tests.builders.measured_rooms 200 1 rough    # tapes and materials off too

What is "measured" is made by `lattice_rooms`; a scene of the same room, with the ear where it was meant to be and
without the cupboard, is what `match` is given.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from sim.blueprint.reader import SceneFile, parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results
from sim.studies.match.match import match
from sim.studies.match.records import Match, MeasuredPeak
from tests.builders.lattice_rooms import SPEED_M_S, WALLS, images, response
from tests.room_texts import room_text

RATE_HZ = 48_000
SEAT_OFF_M = 0.05
NOISE_DB = -55.0
TOGETHER_MS = 0.12
"""Sounds this near each other make one peak (twice the resolution of the pulse)."""
SHARE_DB = 10.0
CUPBOARD = "cupboard"


@dataclass(frozen=True)
class MeasuredRoom:
    """A scene and what was "measured" in it: files, the seat's shift, and what arrived of each loudspeaker."""

    scene: SceneFile
    files: tuple[Path, ...]
    shift: np.ndarray
    arrived: tuple[list[tuple[tuple[str, ...], float, float]], ...]


def random_room(
    seed: int,
    folder: Path,
    *,
    cupboard: bool = True,
    seat_off_m: float = SEAT_OFF_M,
    rough: bool = False,
    deaf: tuple[str, ...] = (),
) -> MeasuredRoom:
    """A room of 25 to 75 m3 with two points for loudspeakers, measured by the lattice of images.

    rough: the loudspeakers are 2 cm off too, and the walls take half or twice what the scene says.  deaf: walls that
    take everything, which the scene does not know.
    """
    rng = np.random.default_rng(seed)
    size = rng.uniform([3.4, 2.9, 2.3], [5.5, 4.5, 3.0])
    middle = size[1] / 2.0 + rng.uniform(-0.25, 0.25)
    ear = np.array([rng.uniform(0.35, 0.5) * size[0], middle, rng.uniform(1.1, 1.3)])
    depth, half = rng.uniform(0.4, 0.9), rng.uniform(0.5, 0.8)
    axes = {
        "left": np.array([depth, middle - half, rng.uniform(1.1, 1.35)]),
        "right": np.array([depth, middle + half, rng.uniform(1.1, 1.35)]),
    }
    absorption = {wall: float(rng.uniform(0.05, 0.45)) for wall in WALLS}
    text = room_text(
        (round(size[1], 4), round(size[0], 4), round(size[2], 4)),
        tuple(ear.round(4)),
        {name: tuple(place.round(4)) for name, place in axes.items()},
        head=f'title = "measured {seed}"\nunits = "m"',
        room="materials = { "
        + ", ".join(f'"{wall}" = "m{k}"' for k, wall in enumerate(WALLS))
        + " }\n"
        + "\n".join(
            f'[materials.m{k}]\nabsorption = {[round(absorption[wall], 4)] * 8}\nsource = "made up for a test"'
            for k, wall in enumerate(WALLS)
        ),
        listener="head_box = { depth = 0.0, across = 0.0, up = 0.0 }",
        more="[method]\norder = 3\nwaves_to_hz = 0\n",
    )
    (folder / f"{seed}.toml").write_text(text, encoding="utf-8")
    direction = rng.normal(size=3) * np.array([1.0, 1.0, 0.6])
    shift = seat_off_m * direction / np.linalg.norm(direction)
    seat = ear + shift
    axis, face = _cupboard(rng, size, seat)
    factor = {wall: float(np.sqrt(1.0 - a)) for wall, a in absorption.items()}
    if rough:
        absorption = {wall: min(0.9, a * 2.0 ** rng.uniform(-1.0, 1.0)) for wall, a in absorption.items()}
        factor = {wall: float(np.sqrt(1.0 - a)) for wall, a in absorption.items()}
        off = rng.normal(size=(2, 3))
        axes = {
            name: place + 0.02 * one / np.linalg.norm(one) for (name, place), one in zip(axes.items(), off, strict=True)
        }
    factor |= dict.fromkeys(deaf, 0.0)
    files, arrived = [], []
    for name, source in axes.items():
        heard = [(one.walls, one.length_m, one.gain) for one in images(size, source, seat, factor, 10.0) if one.gain]
        if cupboard:
            mirrored = source.copy()
            mirrored[axis] = 2.0 * face - source[axis]
            length = float(np.linalg.norm(mirrored - seat))
            heard.append(((CUPBOARD,), length, 0.8 / length))
        direct = min(heard, key=lambda one: one[1])
        wave = response([(length, gain) for _, length, gain in heard], RATE_HZ, 0.25, start_s=0.02)
        wave += rng.normal(size=len(wave)) * direct[2] * 10.0 ** (NOISE_DB / 20.0)
        path = folder / f"{seed}-{name}.wav"
        wavfile.write(path, RATE_HZ, (wave / np.abs(wave).max() * 0.5).astype(np.float32))
        files.append(path)
        arrived.append(
            [
                (walls, 1000.0 * (length - direct[1]) / SPEED_M_S, 20.0 * np.log10(gain / direct[2]))
                for walls, length, gain in heard
                if walls
            ]
        )
    return MeasuredRoom(parse_scene(text, folder), tuple(files), shift, tuple(arrived))


def _cupboard(rng: np.random.Generator, size: np.ndarray, seat: np.ndarray) -> tuple[int, float]:
    """Axis and place of the face of a cupboard along a side wall or the rear wall."""
    kind, deep = int(rng.integers(3)), float(rng.uniform(0.35, 0.6))
    if kind == 0:
        return 0, max(size[0] - deep, seat[0] + 0.5)
    return 1, deep if kind == 1 else size[1] - deep


def truth_of(peak: MeasuredPeak, arrived: list[tuple[tuple[str, ...], float, float]]) -> set[tuple[str, ...]]:
    """What arrived at the time of a peak, each as its walls by name; the faint beside the loud is left out."""
    near = [one for one in arrived if abs(one[1] - peak.time_ms) <= TOGETHER_MS]
    loudest = max((level for _, _, level in near), default=0.0)
    return {tuple(sorted(walls)) for walls, _, level in near if level >= loudest - SHARE_DB}


@dataclass
class Score:
    """Strong peaks that the room really has, how many got the right name, wrong names, and the cupboard's fate."""

    peaks: int = 0
    right: int = 0
    wrong: int = 0
    unnamed: int = 0
    cupboards: int = 0
    unknown: int = 0
    seat_error_m: list[float] | None = None

    def add(self, room: MeasuredRoom, found: Match) -> None:
        """Count one room."""
        for one, arrived in zip(found.responses, room.arrived, strict=True):
            for peak in found.strong(one):
                truth = truth_of(peak, arrived)
                if not truth:  # where no sound arrived: two tails that add up
                    self.wrong += peak.named
                    continue
                name = tuple(sorted(peak.candidates[0].via.split(" > "))) if peak.named else ()
                if truth == {(CUPBOARD,)}:
                    self.cupboards += 1
                    self.unknown += not (peak.named or peak.together)
                    self.wrong += peak.named or peak.together
                    continue
                self.peaks += 1
                self.right += name in truth or (not peak.named and (CUPBOARD,) in truth)
                self.wrong += peak.named and name not in truth
                self.unnamed += not peak.named and (CUPBOARD,) not in truth
        self.seat_error_m = [*(self.seat_error_m or []), float(np.linalg.norm(found.seat.shift_m - room.shift))]


def traced(room: MeasuredRoom) -> Results:
    """The scene traced without what a bare box does not need."""
    return trace_scene(room.scene, maps=False, edges=False)


def score_of(seeds: range, *, rough: bool = False) -> Score:
    """Match so many rooms."""
    score = Score()
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            room = random_room(seed, Path(folder), rough=rough)
            score.add(room, match(traced(room), room.files))
    return score


if __name__ == "__main__":
    count, first = (int(word) for word in sys.argv[1:3])
    print(score_of(range(first, first + count), rough="rough" in sys.argv))  # noqa: T201
