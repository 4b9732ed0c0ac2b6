"""What levels tell of surfaces: a wall that takes more than the scene says is found, the others stay as they are."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.studies.match.absorption import TOLD_DB, surface_levels
from sim.studies.match.correction_text import level_lines
from sim.studies.match.fitted_records import SurfaceLevel
from sim.studies.match.match import match
from sim.studies.match.records import Match
from tests.builders.measured_rooms import random_room, traced

SEED = 3
TRUE, TOLD = 0.35, 0.02
"""What the floor of that room takes (rounded), and what the scene says instead."""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Match:
    """A room measured as it is, against a scene whose floor is said to be hard."""
    room = random_room(SEED, tmp_path_factory.mktemp("levels"), cupboard=False, seat_off_m=0.0)
    blueprint = room.scene.blueprint
    name = blueprint.room.materials["floor"]
    assert blueprint.materials[name].absorption is not None
    assert blueprint.materials[name].absorption[0] == pytest.approx(TRUE, abs=0.005)
    hard = blueprint.materials[name].model_copy(update={"absorption": (TOLD,) * 8})
    changed = blueprint.model_copy(update={"materials": {**blueprint.materials, name: hard}})
    scene = replace(room.scene, blueprint=changed)
    return match(traced(replace(room, scene=scene)), room.files)


def level(found: Match, surface: str) -> SurfaceLevel:
    return next(one for one in found.levels if one.surface == surface)


def test_a_floor_that_takes_more_is_found_within_its_interval(found: Match) -> None:
    """(1 - 0.35) / (1 - 0.02) of the energy comes back: 1.8 dB less."""
    floor = level(found, "floor")
    less_db = 10.0 * np.log10((1.0 - TRUE) / (1.0 - TOLD))
    told = np.flatnonzero(floor.told)
    assert len(told) >= 2 and floor.frequency_hz[told].min() >= 500.0
    assert np.all(np.abs(floor.more_db - less_db)[told] <= floor.error_db[told])
    assert np.mean(floor.more_db[told]) == pytest.approx(less_db, abs=0.8)
    assert np.all((floor.absorption_low <= TRUE)[told] & (floor.absorption_high >= TRUE)[told])


def test_the_others_are_as_given(found: Match) -> None:
    for one in found.levels:
        if one.surface != "floor":
            told = one.told
            assert np.all(np.abs(one.more_db[told]) <= one.error_db[told])


def test_nothing_is_told_that_is_not_sure(found: Match) -> None:
    for one in found.levels:
        assert np.all(one.error_db[one.told] <= TOLD_DB)
        assert np.all(one.readings[one.told] >= 2)
        assert not one.told[one.frequency_hz < 500.0].any()
        assert np.isnan(one.absorption_low[~one.told]).all()


def test_one_peak_alone_tells_nothing(found: Match) -> None:
    """Of one reflection nobody knows whether its surface, its loudspeaker or a neighbour makes its level."""
    one = found.responses[0]
    floor = [peak for peak in one.peaks if peak.named and peak.candidates[0].via == "floor"]
    levels = surface_levels(found.results, [replace(one, peaks=tuple(floor))])
    assert not any(each.told.any() for each in levels)
    assert "The levels cannot tell what is taken by floor" in "\n".join(level_lines(levels))
    assert list(level_lines(())) == [
        "The levels cannot tell what any surface takes: no peak with a name of its own stands alone."
    ]


def invented(more: float, error: float, given: float) -> SurfaceLevel:
    low, high = (float(np.clip(1.0 - (1.0 - given) * 10.0 ** ((more + s * error) / 10.0), 0.0, 1.0)) for s in (1, -1))
    values = (more, error, given, low, high, 3.0)
    return SurfaceLevel("rear wall", False, np.array([4000.0]), *(np.array([value]) for value in values))


def test_in_words() -> None:
    assert list(level_lines([invented(-2.0, 1.0, 0.1)]))[1:] == [
        "  rear wall: 4 kHz -2.0 dB (± 1.0), absorption 0.29 to 0.55, given 0.10"
    ]
    assert list(level_lines([invented(0.5, 2.0, 0.1)]))[1:] == ["  rear wall: as given at 4 kHz, to ± 2 dB"]
    assert "more than anything without power of its own could" in list(level_lines([invented(4.0, 2.0, 0.1)]))[1]
