"""The ledger: each step by hand where there is one driver, and a sum that closes for all."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import sample_frequencies
from sim.responses.arrivals import POINTS_PER_OCTAVE
from sim.responses.records import Arrival, Results
from sim.studies.explain.losses import arrival_losses
from tests.explained import PANEL, POINT, TWO_WAY, number_of, traced


def of(results: Results, arrival: Arrival):
    return arrival_losses(results.built, results.paths, results.edge_paths, arrival, results.responses.bands)


def all_of(results: Results) -> list[Arrival]:
    return [a for a in results.responses.arrivals if a.loudspeaker == "left" and a.listener == "ear"]


def find(results: Results, way: str) -> Arrival:
    return next(a for a in all_of(results) if a.number == number_of(results, way))


@pytest.mark.parametrize("text", [POINT, POINT + PANEL], ids=["bare", "panel"])
def test_losses_of_one_driver_add_up_to_the_level(text: str) -> None:
    results = traced(text)
    kinds = set()
    for arrival in all_of(results):
        losses, carrying = of(results, arrival)
        kinds |= {loss.kind for loss in losses}
        assert set(carrying) == {0}
        loud = arrival.level_db > -60.0
        total = np.sum([loss.level_db for loss in losses], axis=0)
        assert total[loud] == pytest.approx(arrival.level_db[loud], abs=0.1)
    assert kinds >= {"distance", "radiation", "air", "surface", "edge"} and "drivers" not in kinds
    assert ("panels" in kinds) == (text != POINT)


def test_each_step_of_a_ceiling_bounce_by_hand() -> None:
    """Point at 1.1 m, ear at 1.2 m, 1.4 m apart in depth and 0.6 m across, ceiling at 2.4 m that takes a half."""
    results = traced(POINT)
    losses = {loss.kind: loss.level_db for loss in of(results, find(results, "ceiling"))[0]}
    direct, long = np.sqrt(1.4**2 + 0.6**2 + 0.1**2), np.sqrt(1.4**2 + 0.6**2 + 2.5**2)
    assert losses["distance"] == pytest.approx(20.0 * np.log10(direct / long), abs=1e-6)
    assert losses["radiation"] == pytest.approx(0.0, abs=1e-9)
    assert losses["surface"] == pytest.approx(10.0 * np.log10(0.5), abs=1e-6)
    octaves = sample_frequencies(results.responses.bands, POINTS_PER_OCTAVE)
    fades = attenuation_db_per_m(octaves, results.built.air)
    kept = [np.mean(10 ** (-fades * length / 10.0), axis=1) for length in (long, direct)]
    assert losses["air"] == pytest.approx(10.0 * np.log10(kept[0] / kept[1]), abs=1e-6)


def test_a_panel_is_counted_apart_from_its_wall() -> None:
    bare, hung = traced(POINT), traced(POINT + PANEL)
    whole = [loss for loss in of(hung, find(hung, "left wall (side panel)"))[0] if loss.turn == 0]
    assert [loss.kind for loss in whole] == ["surface", "panels"]
    (wall,) = (loss for loss in of(bare, find(bare, "left wall"))[0] if loss.turn == 0)
    assert whole[0].level_db == pytest.approx(wall.level_db, abs=1e-9)
    at_2_khz = int(np.argmin(np.abs(hung.responses.bands.nominal_hz - 2000.0)))
    assert whole[1].level_db[at_2_khz] < -6.0


def test_drivers_close_the_sum_and_each_octave_follows_the_one_that_carries_it() -> None:
    results = traced(TWO_WAY)
    losses, carrying = of(results, find(results, "ceiling"))
    names = [find(results, "ceiling").parts[k].driver for k in carrying]
    assert names[0] == "woofer" and names[-1] == "tweeter"
    assert losses[-1].kind == "drivers"
    assert abs(losses[-1].level_db[[0, -1]]).max() < 0.1, "far from the crossover one driver plays alone"
    assert losses[-1].level_db.min() < -1.0, "they get out of step near it"
    for arrival in all_of(results):
        total = np.sum([loss.level_db for loss in of(results, arrival)[0]], axis=0)
        assert total == pytest.approx(arrival.level_db, abs=1e-6)


def test_steps_stand_in_the_order_of_the_way() -> None:
    results = traced(POINT)
    for arrival in all_of(results):
        turns = [loss.turn for loss in of(results, arrival)[0] if loss.kind != "rim"]  # it speaks of the whole path
        assert turns == sorted(turns)
        assert {turn for turn in turns if turn >= 0} == set(range(arrival.order))
