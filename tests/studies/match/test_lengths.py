"""Delays as functions of what may be off, against finite differences and against rooms traced anew."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from sim.arrays import FloatArray
from sim.layouts.changes import change
from sim.responses.records import Results
from sim.studies.match.lengths import FIRST_OTHER, KNOWN, NONE, SEAT, TEMPERATURE, PathLengths
from sim.studies.match.misplaced import Movable, movable
from sim.studies.match.naming import predicted_of
from tests.builders.measured_rooms import random_room, traced


def invented(seed: int, paths: int = 30) -> PathLengths:
    """Paths over planes in any direction: nothing of a box in it."""
    rng = np.random.default_rng(seed)
    normals = rng.normal(size=(paths, 3, 3))
    normals /= np.linalg.norm(normals, axis=2, keepdims=True)
    surface = rng.integers(-2, 5, size=(paths, 3))
    return PathLengths(
        rng.uniform(1.0, 2.0, 3),
        17.0,
        rng.uniform(0.0, 1.0, (paths, 3)),
        rng.integers(0, 2, paths),
        normals,
        rng.uniform(-4.0, -2.0, (paths, 3)),
        surface,
        2,
        5,
    )


def one_by_one(paths: PathLengths, off: FloatArray) -> list[float]:
    """The slow obvious twin: each point mirrored in each plane in turn, in plain numbers."""
    speed = 343.2 * ((paths.temperature_c + off[TEMPERATURE] + 273.15) / 293.15) ** 0.5
    ear = paths.ear + off[:3]
    found = []
    for c in range(len(paths.sources)):
        source = paths.sources[c] + off[paths.of_loudspeaker(int(paths.loudspeaker[c]))]
        image = source.copy()
        for k, number in enumerate(paths.surface[c]):
            if number != NONE:
                shift = off[paths.of_surface(int(number))] if number != KNOWN else 0.0
                image -= 2.0 * (paths.normals[c, k] @ image - paths.offsets_m[c, k] - shift) * paths.normals[c, k]
        found.append(1000.0 * (np.linalg.norm(image - ear) - np.linalg.norm(source - ear)) / speed)
    return found


def test_delays_are_those_of_the_twin() -> None:
    for seed in range(5):
        paths = invented(seed)
        off = np.random.default_rng(seed).normal(size=paths.quantities) * 0.05
        assert paths.quantities == FIRST_OTHER + 6 + 5
        np.testing.assert_allclose(paths.delays_ms(off), one_by_one(paths, off), rtol=0.0, atol=1e-9)


def test_slopes_are_finite_differences() -> None:
    for seed in range(5):
        paths = invented(seed)
        off = np.random.default_rng(seed + 50).normal(size=paths.quantities) * 0.05
        step = 1e-5
        steps = step * np.eye(paths.quantities)
        differences = [(paths.delays_ms(off + one) - paths.delays_ms(off - one)) / (2.0 * step) for one in steps]
        np.testing.assert_allclose(paths.slopes(off), np.array(differences).T, rtol=1e-6, atol=1e-6)


def test_a_wall_met_square_on_counts_twice() -> None:
    """Source and ear one behind the other before a wall: each metre the wall yields is two metres of path."""
    paths = PathLengths(
        np.array([2.0, 1.0, 1.0]),
        20.0,
        np.array([[1.0, 1.0, 1.0]]),
        np.array([0]),
        np.array([[[-1.0, 0.0, 0.0]]]),
        np.array([[-4.0]]),
        np.array([[0]]),
        1,
        1,
    )
    nothing = np.zeros(paths.quantities)
    slope = paths.slopes(nothing)[0]
    assert slope[paths.of_surface(0)] * 0.3432 == np.float64(-2.0)  # along its normal, toward the air: shorter
    np.testing.assert_allclose(slope[list(SEAT)] * 0.3432, [-2.0, 0.0, 0.0], atol=1e-12)


def laid_out(results: Results) -> Movable:
    speed = results.built.air.speed_of_sound_m_s
    sides = [[a for a in results.responses.arrivals if a.loudspeaker == name] for name in ("left", "right")]
    return movable(results, [predicted_of(side, speed) for side in sides], [0, 1], 0)


def test_delays_are_those_of_a_room_traced_anew(tmp_path: Path) -> None:
    """Everything moved at once: seat, a loudspeaker, the rear wall, the ceiling and the air."""
    room = random_room(5, tmp_path)
    before = laid_out(traced(room))
    box, ear = room.scene.blueprint.room.box, room.scene.blueprint.listener.ear
    left = room.scene.blueprint.loudspeakers[0].acoustic_axis
    assert box is not None
    moved = {
        "ear.from_left": ear.from_left + 0.03,
        "left.from_front": left.from_front - 0.02,
        "room.depth": box.depth + 0.04,
        "room.height": box.height - 0.01,
        "air.temperature_c": 26.0,
    }
    after = laid_out(traced(replace(room, scene=change(room.scene, moved, tied=False))))
    off = np.zeros(before.lengths.quantities)
    off[1], off[TEMPERATURE], off[before.lengths.of_loudspeaker(0).start] = 0.03, 6.0, -0.02
    for number, surface in enumerate(before.surfaces):  # along the normal, which points into the room
        off[before.lengths.of_surface(number)] = {"rear wall": -0.04, "ceiling": 0.01}.get(surface.name, 0.0)
    seen = 0
    for mine, other in zip(before.moved(off), after.predicted, strict=True):
        drawn = {one.via: delay for one, delay in zip(other.arrivals, other.delay_ms, strict=True)}
        for one, delay in zip(mine.arrivals, mine.delay_ms, strict=True):
            if one.via in drawn:
                assert abs(drawn[one.via] - delay) < 1e-6
                seen += 1
    assert seen > 60
