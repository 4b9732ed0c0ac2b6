"""Many layouts in one table, and which of them are worth a look."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.levels import SILENCE_DB
from sim.errors import SceneError
from sim.responses.records import Results
from sim.showing.words import letter_of
from sim.studies.compare.comparison import compare
from sim.studies.compare.many import EQUAL, Many, compare_many, pareto_front
from tests.studies.compare.layouts import traced
from tests.studies.sweep.sweep_scenes import TABLE

CLOUD = """
[[panels]]
name = "cloud"
surface = "ceiling"
material = "100 mm wool, 100 mm gap"
from_front = [0.9, 2.1]
from_left = [0.6, 2.4]
mass_kg = 11
"""
HIGHER = TABLE.replace("up = 1.1 }", "up = 1.25 }")
LOPSIDED = TABLE.replace("from_left = 2.0, up = 1.1", "from_left = 2.4, up = 1.1")


@cache
def results() -> tuple[Results, ...]:
    return tuple(traced(text) for text in (TABLE, HIGHER, TABLE + CLOUD, LOPSIDED))


@cache
def many() -> Many:
    return compare_many(results())


def test_letters_go_on_after_z():
    assert [letter_of(n) for n in (0, 25, 26, 27, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AB",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]
    assert len({letter_of(n) for n in range(2000)}) == 2000


def test_figures_are_those_of_the_comparison_and_of_the_verdicts():
    comparison, table = compare(results()), many()
    judged = [f in (1000.0, 2000.0, 4000.0, 8000.0) for f in comparison.bands.nominal_hz]
    mean = 10.0 * np.log10((10.0 ** (comparison.early_db[:, :, judged] / 10.0)).mean(axis=2))
    target = results()[0].scene.blueprint.target
    assert target.band_hz == (1000.0, 8000.0)
    assert np.allclose(table.early_db, mean)
    assert np.allclose(table.over_target_db, comparison.strongest_db - target.level_db)
    for number, result in enumerate(results()):
        above = [one for one in result.responses.arrivals if one.order and one.worst_db > target.level_db]
        inside = [one for one in above if target.window_ms[0] <= one.main.delay_ms <= target.window_ms[1]]
        assert table.above_target[number] == len([one for one in inside if one.listener == "ear"])


def test_left_and_right_are_alike_only_in_a_symmetric_layout():
    assert np.abs(many().left_right_db[:3]).max() < 1e-4  # the mesh that sound waves are solved on has no mirror plane
    assert abs(many().left_right_db[3]) > 0.05


def test_desk_notch_is_half_a_period_of_its_delay():
    """A hard flat desk reflects almost in phase: the first notch lies where the detour is half a wave.

    Edges, which are counted with the reflection, move that of a desk 90 cm deep by some 6 %; here they are left out.
    """
    flat = [traced(text, flat=True) for text in (TABLE, HIGHER)]
    for number, result in enumerate(flat):
        top = next(
            one
            for one in result.responses.arrivals
            if one.loudspeaker == "left" and one.surfaces == ("desk top",) and not one.diffracted
        )
        assert compare_many(flat).desk_notch_hz[number, 0] == pytest.approx(500.0 / top.main.delay_ms, rel=0.05)
        assert many().desk_notch_hz[number, 0] == pytest.approx(500.0 / top.main.delay_ms, rel=0.1)
    bare = compare_many([traced(TABLE.split("[[furniture]]")[0])])
    assert np.isnan(bare.desk_notch_hz).all()


def test_panels_their_mass_and_price():
    assert many().panels.tolist() == [0, 0, 1, 0] and many().mass_kg.tolist() == [0.0, 0.0, 11.0, 0.0]
    assert many().cost_word == "panels"
    priced = compare_many([traced(TABLE), traced(TABLE + CLOUD + "price = 80")])
    assert priced.cost_word == "price" and priced.costs[:, 2].tolist() == [0.0, 80.0]
    assert np.isnan(many().price[2]) and many().price[0] == 0.0


def test_changes_are_told_against_the_first():
    assert many().changes[0] == ()
    assert [one.words for one in many().changes[1]] == ["left and right: acoustic_axis.up 1.1 m, then 1.25 m"]
    assert [one.words for one in many().changes[2]] == ["cloud is new"]


def test_a_layout_with_another_number_of_loudspeakers_is_refused():
    first, *rest = TABLE.split("[[loudspeakers]]")
    with pytest.raises(SceneError, match="it has 1 and the first layout 2"):
        compare_many([results()[0], traced(first + "[[loudspeakers]]" + rest[1])])


def test_one_loudspeaker_has_no_other_side():
    first, *rest = TABLE.split("[[loudspeakers]]")
    desk = rest[1][rest[1].index("[[furniture]]") :]
    alone = compare_many([traced(first + "[[loudspeakers]]" + rest[0] + desk)])
    assert np.isnan(alone.left_right_db).all() and alone.costs[0, 1] == 0.0 and alone.front.all()


def front_of(*costs: tuple[float, float, float]) -> list[bool]:
    return pareto_front(np.array(costs), EQUAL, np.array([0.5, 0.5, 1.0])).tolist()


def test_front_by_hand():
    assert front_of((3.0, 0.2, 0.0), (0.0, 0.2, 0.0)) == [False, True]
    assert front_of((3.0, 0.2, 0.0), (0.0, 0.2, 2.0)) == [True, True]  # costs panels
    assert front_of((0.3, 0.2, 0.0), (0.0, 0.2, 0.0)) == [True, True]  # called equal
    assert front_of((3.0, 0.0, 0.0), (0.0, 0.4, 0.0)) == [False, True]  # a little more apart is no reason
    assert front_of((3.0, 0.0, 0.0), (0.0, 0.6, 0.0)) == [True, True]
    assert front_of((0.2, 0.2, 1.0), (0.0, 0.2, 0.0)) == [False, True]  # a panel that buys nothing
    assert front_of((SILENCE_DB, 0.0, 0.0), (0.0, 0.0, 0.0)) == [True, False]


COST = st.tuples(st.floats(-5.0, 5.0), st.floats(0.0, 3.0), st.integers(0, 4).map(float))


@given(st.lists(COST, min_size=1, max_size=12))
def test_front_is_never_empty_and_holds_what_is_best_in_each(costs):
    rows = np.array(costs)
    front = pareto_front(rows, EQUAL, np.array([0.5, 0.5, 1.0]))
    assert front.any()
    whole = rows @ np.array([2.0, 2.0, 1.0])
    assert front[np.argmin(whole)]
    slow = []
    for a in rows:
        beaten = False
        for b in rows:
            clearly = any(b[i] < a[i] - EQUAL[i] for i in range(3))
            no_worse = all(b[i] <= a[i] + EQUAL[i] for i in range(3))
            total = b[0] / 0.5 + b[1] / 0.5 + b[2] < a[0] / 0.5 + a[1] / 0.5 + a[2]
            beaten |= clearly and no_worse and total
        slow.append(not beaten)
    assert front.tolist() == slow
