"""What is looked for from afar: a number moves where many peaks say so, and not to give a stray peak a name."""

from __future__ import annotations

import numpy as np
import pytest

from sim.responses.records import Results
from sim.studies.match.misplaced import LEAST_PEAKS, Movable, fewest, find_off, movable
from sim.studies.match.naming import Heard, Predicted, predicted_of
from tests.builders.measured_rooms import random_room, traced

ERROR_MS = 0.07


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Results:
    return traced(random_room(5, tmp_path_factory.mktemp("still"), cupboard=False, seat_off_m=0.0))


@pytest.fixture(scope="module")
def moves(results: Results) -> Movable:
    speed = results.built.air.speed_of_sound_m_s
    sides = [[a for a in results.responses.arrivals if a.loudspeaker == name] for name in ("left", "right")]
    return movable(results, [predicted_of(side, speed) for side in sides], [0, 1], 0)


def heard(drawn: Predicted, rng: np.random.Generator, strays: int) -> Heard:
    """The strongest reflections as drawn, read with a little noise, and strays that nothing drawn makes."""
    strong = np.argsort(-drawn.level_db)[:10]
    time = np.concatenate([drawn.delay_ms[strong] + rng.normal(size=10) * 0.01, rng.uniform(2.0, 19.0, strays)])
    level = np.concatenate([drawn.level_db[strong], rng.uniform(-30.0, -16.0, strays)])
    return Heard(time, level)


def found(moves: Movable, seed: int, off: np.ndarray, strays: int) -> tuple[np.ndarray, bool]:
    rng = np.random.default_rng(seed)
    peaks = [heard(one, rng, strays) for one in moves.moved(off)]
    pairs = list(zip(peaks, moves.predicted, strict=True))
    return fewest(moves, find_off(pairs, moves, np.zeros(3), ERROR_MS))


def test_strays_move_nothing(moves: Movable) -> None:
    for seed in range(4):
        off, enough = found(moves, seed, np.zeros(moves.lengths.quantities), 15)
        assert enough
        assert np.abs(np.delete(off, 3)).max() < 0.02 and abs(off[3]) < 1.0


def test_a_wall_that_many_peaks_agree_on_moves_among_strays(moves: Movable) -> None:
    wall = next(k for k, one in enumerate(moves.surfaces) if one.name == "ceiling")
    truth = np.zeros(moves.lengths.quantities)
    truth[moves.lengths.of_surface(wall)] = 0.05
    off, _ = found(moves, 9, truth, 4)
    assert off[moves.lengths.of_surface(wall)] == pytest.approx(0.05, abs=0.01)
    assert np.count_nonzero(np.abs(off) > 0.01) == 1


def test_too_few_peaks_move_nothing(moves: Movable) -> None:
    few = [Heard(one.delay_ms[:1], one.level_db[:1]) for one in moves.predicted]
    fit, rows, measured = find_off(list(zip(few, moves.predicted, strict=True)), moves, np.zeros(3), ERROR_MS)
    assert len(rows) == len(measured) < LEAST_PEAKS
    off, enough = fewest(moves, (fit, rows, measured))
    assert not enough and not off.any()


def test_no_peaks_at_all(moves: Movable) -> None:
    none = [Heard(np.zeros(0), np.zeros(0)) for _ in moves.predicted]
    fit, rows, _ = find_off(list(zip(none, moves.predicted, strict=True)), moves, np.zeros(3), ERROR_MS)
    assert len(rows) == 0 and not fit.told.any()


def test_what_is_measured_from_stays(moves: Movable) -> None:
    names = {one.name for one in moves.surfaces}
    assert names == {"rear wall", "right wall", "ceiling"}  # not front wall, left wall and floor
    assert moves.tolerances[0] == 0.05 and moves.tolerances[3] == 5.0 and moves.tolerances[-1] == 0.03


def test_delays_as_drawn_are_those_of_the_arrivals(moves: Movable) -> None:
    drawn = np.concatenate([one.delay_ms[rows >= 0] for one, rows in zip(moves.predicted, moves.rows, strict=True)])
    np.testing.assert_allclose(moves.drawn_ms, drawn, atol=1e-6)
