"""Measurements whose truth is known, made apart from the program, against what `match` says of them.

Random boxes by the lattice of images, a microphone 5 cm from the ear, noise 55 dB down, one cupboard that is not drawn.
By hand, `python -m tests.builders.measured_rooms 200 1` and the same with `rough`, where the loudspeakers are 2 cm off
too and the walls take half or twice what the scene says.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.responses.records import Results
from sim.studies.match.match import match
from sim.studies.match.records import Match
from tests.builders.lattice_rooms import images
from tests.builders.measured_rooms import MeasuredRoom, Score, random_room, traced

SEEDS = (1, 2, 3)

Tried = list[tuple[MeasuredRoom, Results, Match]]


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> Tried:
    folder, found = tmp_path_factory.mktemp("rooms"), []
    for seed in SEEDS:
        room = random_room(seed, folder)
        results = traced(room)
        found.append((room, results, match(results, room.files)))
    return found


def test_peaks_get_the_right_name(tried: Tried) -> None:
    """Right for 95 % of those above -20 dB within 15 ms, wrong for less than 2 %, the cupboard unknown."""
    score = Score()
    for room, _, found in tried:
        score.add(room, found)
    assert score.peaks > 60
    assert score.right >= 0.95 * score.peaks
    assert score.wrong < 0.02 * score.peaks
    assert score.cupboards >= 3 and score.unknown == score.cupboards
    assert max(score.seat_error_m or [1.0]) < 0.01


def test_the_seat_is_found_inside_its_interval(tried: Tried) -> None:
    """95 % of the time it should be; of nine lengths, eight at least, twice the interval always."""
    off = np.concatenate([np.abs(found.seat.shift_m - room.shift) / found.seat.error_m for room, _, found in tried])
    assert np.sum(off <= 1.0) >= 7
    assert off.max() < 2.5


def test_an_unknown_peak_could_lie_where_it_does(tried: Tried) -> None:
    """Points that are offered have the measured length; a flat cupboard's own point is not on the room, but inside."""
    seen = 0
    for room, results, found in tried:
        for one in found.responses:
            s, place = found.numbers(one)
            source, ear = results.built.loudspeakers[s].axis_point, results.built.ears[place] + found.seat.shift_m
            for peak in found.strong(one):
                for spot in peak.spots:
                    way = np.linalg.norm(spot.points - source, axis=1) + np.linalg.norm(spot.points - ear, axis=1)
                    assert np.abs(way - peak.length_m).max() < 0.06
                    seen += 1
        assert room.scene is results.scene
    assert seen >= 3


def test_left_and_right_mixed_up_are_told(tried: Tried) -> None:
    for room, results, found in tried:
        assert not found.swapped
        assert match(results, room.files[::-1]).swapped


def test_a_reflection_that_is_gone_is_missed(tmp_path: Path) -> None:
    """The floor takes everything in the measurement and nothing in the scene."""
    room = random_room(7, tmp_path, cupboard=False, deaf=("floor",))
    found = match(traced(room), room.files)
    for one in found.responses:
        assert "floor" in [gone.via for gone in one.missing]
        assert "ceiling" not in [gone.via for gone in one.missing]


def test_images_of_a_cube_are_those_of_the_book() -> None:
    """Six of first order, eighteen of second (12 over two axes, 6 over opposite walls), from the middle of a cube."""
    middle, ear = np.array([1.0, 1.0, 1.0]), np.array([1.0, 1.0, 1.001])
    found = images(
        np.array([2.0, 2.0, 2.0]),
        middle,
        ear,
        dict.fromkeys(("front wall", "rear wall", "left wall", "right wall", "floor", "ceiling"), 0.5),
        4.1,
    )
    by_order = [sum(len(one.walls) == order for one in found) for order in range(3)]
    assert by_order == [1, 6, 18]
    assert all(one.gain * max(one.length_m, 1e-9) == pytest.approx(0.5 ** len(one.walls)) for one in found[1:])
