"""The one measure: what each component is, held against hand sums, and words for differences."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.measure import (
    COMPONENTS,
    SAME_DB,
    Measure,
    changes_between,
    component_words,
    measure_of,
    verdict_of,
)
from sim.responses.records import Results
from sim.responses.tone import tones_of
from tests.room_texts import room_text

ROOM = (4.0, 5.0, 2.6)
EAR = (2.0, 2.0, 1.2)
PAIR = {"left": (0.9, 1.2, 1.2), "right": (0.9, 2.8, 1.2)}


def traced(more: str = "", room: str = "") -> Results:
    text = room_text(ROOM, EAR, PAIR, room=room, more=more)
    return trace_scene(parse_scene(text, Path("nowhere")), order=1, maps=False)


@pytest.fixture(scope="module")
def hard() -> Results:
    return traced(room='materials = { all = "rigid" }')


def test_early_is_what_single_arrivals_are_above_the_target_added_up(hard: Results) -> None:
    """Bare points in a hard room: each arrival is 20 lg(direct/its own way), the same in every octave."""
    found = measure_of(hard)
    expected = 0.0
    for arrival in hard.responses.arrivals:
        if arrival.loudspeaker == "left" and arrival.order and arrival.main.delay_ms <= 20.0:
            direct_m = arrival.main.length_m - arrival.main.extra_path_m
            expected += max(20.0 * np.log10(direct_m / arrival.main.length_m) + 15.0, 0.0)
    assert found.early_over_target_db[0, 0] == pytest.approx(expected, abs=0.1)  # at 1 kHz; air takes more above
    assert found.components["early"] == pytest.approx(float(found.early_over_target_db.mean()))


def test_a_met_target_is_zero_and_nothing_else_is() -> None:
    quiet = measure_of(traced(more="[target]\nlevel_db = 0.0\n"))
    assert quiet.components["early"] == 0.0
    loud = traced(more="[target]\nlevel_db = -15.0\n")
    assert (measure_of(loud).components["early"] > 0.0) == (not all(v.met for v in loud.responses.verdicts))


def test_a_mirrored_room_has_no_difference_of_left_and_right(hard: Results) -> None:
    assert measure_of(hard).components["left_right"] == pytest.approx(0.0, abs=1e-6)
    one_sided = traced(room='materials = { all = "rigid", "left wall" = "heavy curtain" }')
    assert measure_of(one_sided).components["left_right"] > 0.1


def test_a_point_has_no_tone_and_a_loudspeaker_turned_away_loses_treble(hard: Results) -> None:
    assert tones_of(hard.built)[0] == pytest.approx((0.0, 0.0), abs=1e-9)
    losses = []
    for toe_in in (0.0, 36.0):  # about the seat's direction: atan(0.8/1.1) = 36 degrees
        text = room_text(ROOM, EAR, PAIR, model="two-way").replace(
            "[[loudspeakers]]", f"[[loudspeakers]]\ntoe_in_deg = {toe_in}"
        )
        losses.append(tones_of(trace_scene(parse_scene(text, Path("nowhere")), order=1, maps=False).built)[0])
    assert abs(losses[1][1]) < 0.1
    assert losses[0][1] < -0.3, "the treble falls off axis"


def test_the_measure_is_the_weighted_sum_and_weights_are_the_persons(hard: Results) -> None:
    found = measure_of(hard)
    assert set(found.components) == set(COMPONENTS) == set(found.weights)
    assert found.total_db == pytest.approx(sum(found.weights[k] * v for k, v in found.components.items()))
    only = traced(
        more="[target.weights]\nearly = 0\ncrossover = 0\nslope = 0\ndips = 3\nleft_right = 0\n",
        room='materials = { all = "rigid" }',
    )
    assert measure_of(only).total_db == pytest.approx(3.0 * found.components["dips"])
    assert "times 3" in "\n".join(component_words(measure_of(only)))


def test_the_spatial_weighting_counts_octaves_from_2_khz_up() -> None:
    """Bech 1998 (from memory): energy above about 2 kHz decides what a reflection does to space."""
    found = measure_of(traced(more='[target]\nweighting = "spatial"\n'))
    high = found.octaves_hz >= 2000.0
    assert found.components["early"] == pytest.approx(float(found.early_over_target_db[:, high].mean()))


def test_a_dip_that_moves_down_is_worse_and_what_the_physics_cannot_tell_is_the_same(hard: Results) -> None:
    before = measure_of(hard)

    def with_dip(hz: float) -> Measure:
        return replace(before, desk_dip_hz=np.full(2, hz))

    def verdict(one: float, other: float) -> str:
        return next(c.verdict for c in changes_between(with_dip(one), with_dip(other)) if c.name == "desk_dip_hz")

    assert verdict(2900.0, 850.0) == "worse"
    assert verdict(850.0, 2900.0) == "better"
    assert verdict(1000.0, 1200.0) == "the same"
    assert verdict(1000.0, np.nan) == "better"
    assert verdict_of(10.0, 10.0 - 0.99 * SAME_DB) == "the same"
    assert verdict_of(10.0, 10.0 - 1.01 * SAME_DB) == "better"


def test_what_hurts_is_said_and_no_number(hard: Results) -> None:
    before = measure_of(hard)
    after = replace(before, hindrances=("STOP: it falls",))
    assert ("hurts", "new: STOP: it falls", "worse") in [
        (c.name, c.words, c.verdict) for c in changes_between(before, after)
    ]
    assert after.total_db == before.total_db
