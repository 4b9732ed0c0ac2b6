from __future__ import annotations

import numpy as np
import pytest

from sim.errors import SceneError
from sim.responses.measure import SAME_DB
from sim.studies.search.niches import APART
from sim.studies.search.search import as_it_stands, plan_search, search
from sim.studies.search.trials import try_layout
from tests.studies.compare.layouts import ON_STANDS
from tests.studies.little_room import DESK, little_room

VARY = {"left.height": "1.0:1.4", "left.from_front": "0.45:0.9"}
UNTREATED = little_room(DESK)


def test_no_layout_of_a_dense_grid_is_better_by_a_tenth_of_a_decibel() -> None:
    found = search(UNTREATED, VARY, layouts=1, processes=1)
    grid = [
        try_layout(found.task, (float(height), float(depth)))
        for height in np.linspace(1.0, 1.4, 25)
        for depth in np.linspace(0.45, 0.9, 25)
    ]
    allowed = [trial.merit_db for trial in grid if trial.allowed]
    assert len(allowed) > 300
    assert max(allowed) - min(allowed) > 2.0, "a case in which there is something to find"
    assert found.layouts[0].trial.merit_db < min(allowed) + 0.1
    assert found.tried < 1500


def test_ranges_hold_and_end_where_they_say() -> None:
    """Every setting inside a range is as good; a step of 1 % of the range beyond its end is not."""
    found = search(UNTREATED, VARY, layouts=1, processes=1)
    (layout,) = found.layouts
    for number, span in enumerate(layout.ranges):
        values = list(layout.trial.values)
        for value in np.linspace(span.low, span.high, 7):
            values[number] = round(float(value), 3)
            trial = try_layout(found.task, tuple(values))
            assert trial.allowed
            assert trial.merit_db <= layout.trial.merit_db + 0.5
        for end, why, way in ((span.low, span.low_why, -1), (span.high, span.high_why, 1)):
            values[number] = end + way * 0.0045
            beyond = try_layout(found.task, tuple(values))
            assert why == "end" or not beyond.allowed or beyond.merit_db > layout.trial.merit_db + 0.5


def test_the_same_seed_gives_the_same_answer_for_any_number_of_processes() -> None:
    vary = {"left.height": "1.0:1.4"}
    one, two = (search(UNTREATED, vary, layouts=2, seed=3, processes=n) for n in (1, 2))
    assert len(one.layouts) == 2
    assert [layout.trial.values for layout in one.layouts] == [layout.trial.values for layout in two.layouts]
    assert [layout.trial.merit_db for layout in one.layouts] == [layout.trial.merit_db for layout in two.layouts]
    assert [layout.ranges for layout in one.layouts] == [layout.ranges for layout in two.layouts]
    assert (one.tried, one.impossible, one.broken) == (two.tried, two.impossible, two.broken)


def test_several_layouts_differ_and_come_best_first() -> None:
    found = search(UNTREATED, VARY, layouts=3, processes=1)
    assert len(found.layouts) == 3
    merits = [layout.measure.total_db for layout in found.layouts]  # the order is that of the measure
    assert merits == sorted(merits)
    fractions = [(np.array(layout.trial.values) - [1.0, 0.45]) / [0.4, 0.45] for layout in found.layouts]
    moved = 2.0 * found.task.blueprint.method.placement_error / 0.4  # both off the edge of what appears, if anything
    for number, one in enumerate(fractions):
        assert all(np.abs(one - other).max() >= APART - moved - 0.005 for other in fractions[:number])
    assert found.layouts[0].equal
    assert [layout.equal for layout in found.layouts] == [merit < merits[0] + SAME_DB for merit in merits]


def test_where_nothing_matters_it_is_said_and_one_layout_is_enough() -> None:
    found = search(UNTREATED, {"left.from_front": "0.59:0.61"}, processes=1)
    assert found.flat
    assert len(found.layouts) == 1
    assert not search(UNTREATED, VARY, layouts=1, processes=1).flat


def test_stands_grow_with_what_is_on_them(tmp_path) -> None:
    from sim.blueprint.reader import parse_scene

    found = search(parse_scene(ON_STANDS, tmp_path), {"left.height": "1.25:1.3"}, layouts=1, processes=1)
    (layout,) = found.layouts
    blueprint = found.blueprint(layout)
    for one in blueprint.loudspeakers:
        assert one.acoustic_axis.up == layout.trial.values[0]
        assert one.stand_height == pytest.approx(1.00 + layout.trial.values[0] - 1.22)


def test_limits_and_impossible_layouts_are_counted_and_told() -> None:
    vary = {"left.tilt": "-30:30", "left.from_left": "-0.4:1.1"}
    found = search(UNTREATED, vary, layouts=1, processes=1)
    assert found.impossible > 0
    assert found.broken > 0
    assert abs(found.layouts[0].trial.values[0]) <= 15.0
    assert any("outside the room" in words for words, _ in found.obstacles)
    assert any(words == "limit: tilt" for words, _ in found.obstacles)


def test_where_no_layout_is_allowed_none_is_offered() -> None:
    found = search(UNTREATED, {"left.tilt": "20:30"}, processes=1)
    assert found.layouts == ()
    assert np.isnan(found.spread_db)
    assert not found.flat
    assert found.obstacles == (("limit: tilt", found.tried),)


def test_the_scene_as_it_stands_is_judged_too() -> None:
    now = as_it_stands(plan_search(UNTREATED, VARY))
    assert now.values == (1.2, 0.6)
    assert now.merit_db == try_layout(plan_search(UNTREATED, VARY), (1.2, 0.6)).merit_db
    aimed = as_it_stands(plan_search(UNTREATED, {"left.toe_in": "0:30"}))
    assert np.isnan(aimed.values[0])
    assert np.isfinite(aimed.merit_db)


@pytest.mark.parametrize(
    ("vary", "said"),
    [
        ({}, "nothing varies"),
        ({"left.height": "1.0"}, "is no range; write FROM:TO, such as left.height=1.0:1.4"),
        ({"left.height": "1.0:1.2:0.1"}, "is no range"),
        ({"left.height": "1.4:1.0"}, "reversed; write left.height=1.0:1.4"),
        ({"left.height": "1.2:1.2"}, "the same value twice"),
        ({"left.height": "low:high"}, "is not a length"),
        ({"left.tilt": "-5cm:5"}, "is no number"),
        ({"left.heigth": "1:2"}, 'no number called "heigth"'),
        ({"lefty.height": "1:2"}, "nothing that can be varied"),
        ({"left.height": "1.0:1.4", "right.height": "1.0:1.4"}, "move the same thing"),
    ],
)
def test_bad_ranges_are_told_in_a_sentence(vary: dict[str, str], said: str) -> None:
    with pytest.raises(SceneError, match=said):
        search(UNTREATED, vary)


def test_other_bad_numbers_are_told() -> None:
    with pytest.raises(SceneError, match="ask for 1 to 12"):
        search(UNTREATED, VARY, layouts=0)
    with pytest.raises(SceneError, match="seed: it is -1"):
        search(UNTREATED, VARY, seed=-1)
    many = {f"ear.{key}": "1:2" for key in ("up", "from_left", "from_front")} | {
        f"{thing}.{key}": "1:2" for thing in ("desk", "left") for key in "abcde"
    }
    with pytest.raises(SceneError, match="13 numbers vary"):
        search(UNTREATED, many)
