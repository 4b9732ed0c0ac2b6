"""Comparisons say what changed, and do not flatter."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.units import small_words
from sim.errors import SceneError
from sim.responses.measure import changes_between
from sim.responses.records import Results
from sim.showing.numbers import db_words
from sim.studies.compare.comparison import NOTICEABLE_DB, Comparison, SurfaceChange, compare, early_level_db, silent
from tests.blueprint.scene_texts import changed
from tests.studies.compare.layouts import ON_DESK, ON_STANDS, traced, with_points


@pytest.fixture(scope="module")
def on_desk() -> Results:
    return traced(ON_DESK)


@pytest.fixture(scope="module")
def on_stands() -> Results:
    return traced(ON_STANDS)


def change(comparison: Comparison, loudspeaker: str, surface: str) -> SurfaceChange:
    return next(c for c in comparison.surfaces if (c.loudspeaker, c.surface) == (loudspeaker, surface))


def everything(comparison: Comparison) -> list[str]:
    return [
        s
        for part in (comparison.improved, comparison.worse, comparison.unchanged)
        for reported in part
        for s in reported
    ]


def test_a_layout_and_itself_show_no_change(on_desk: Results) -> None:
    same = compare([on_desk, on_desk])
    np.testing.assert_array_equal(same.early_db[0], same.early_db[1])
    np.testing.assert_array_equal(same.strongest_db[0], same.strongest_db[1])
    assert same.improved == same.worse == ((),)
    judged = changes_between(same.measures[0], same.measures[1])
    assert len(same.unchanged[0]) == len(same.surfaces) + len(judged)
    assert same.cautions == ()
    for each in same.surfaces:
        np.testing.assert_array_equal(each.worst_db[0], each.worst_db[1])
        np.testing.assert_array_equal(each.delay_ms[0], each.delay_ms[1])


def test_early_energy_is_the_sum_of_the_arrivals_in_the_window(on_desk: Results) -> None:
    energy = np.zeros(len(on_desk.responses.bands))
    for arrival in on_desk.responses.arrivals:
        if arrival.loudspeaker == "left" and arrival.order and 0.0 <= arrival.main.delay_ms <= 20.0:
            energy += 10.0 ** (arrival.level_db / 10.0)
    np.testing.assert_allclose(early_level_db(on_desk, "left"), 10.0 * np.log10(energy))
    np.testing.assert_allclose(compare([on_desk, on_desk]).early_db[0, 0], 10.0 * np.log10(energy))


def test_the_desk_still_mirrors_behind_the_desk(on_desk: Results, on_stands: Results) -> None:
    """Every number in the sentence is that of an arrival."""
    comparison = compare([on_desk, on_stands])
    sentence = next(s for s in everything(comparison) if s.startswith("left via the desk top"))
    arrivals = [
        next(a for a in each.responses.arrivals if a.loudspeaker == "left" and a.via == "desk top")
        for each in (on_desk, on_stands)
    ]
    for arrival in arrivals:
        assert f"{db_words(arrival.worst_db)} at {arrival.main.delay_ms:.2f} ms" in sentence
    before, after = (arrival.notches_hz[0] for arrival in arrivals)
    assert sentence.endswith(f"still reflects, first notch {before:.0f} Hz, then {after:.0f} Hz")
    assert after < before


def test_notches_of_the_desk_by_hand() -> None:
    """One driver at the tweeter's place, no edges: the first notch is at half the inverse of the delay.

    Desk at 0.74 m, ear (1.60, 1.70, 1.20); tweeter (0.62, 1.125, 1.02), then (0.42, 1.08, 1.22).
    """
    comparison = compare([traced(with_points(text), flat=True) for text in (ON_DESK, ON_STANDS)])
    desk = change(comparison, "left", "desk top")
    for layout, (depth, across, up) in enumerate([(0.62, 1.125, 1.02), (0.42, 1.08, 1.22)]):
        plan = np.hypot(1.60 - depth, 1.70 - across)
        extra_m = np.hypot(plan, (up - 0.74) + (1.20 - 0.74)) - np.hypot(plan, 1.20 - up)
        assert desk.delay_ms[layout] == pytest.approx(1000.0 * extra_m / 343.0, abs=1e-4)
        assert desk.first_notch_hz[layout] == pytest.approx(343.0 / (2.0 * extra_m), abs=1.0)
    assert desk.first_notch_hz == pytest.approx([830.0, 570.0], rel=0.01)
    reported = f"still reflects, first notch {desk.first_notch_hz[0]:.0f} Hz, then {desk.first_notch_hz[1]:.0f} Hz"
    assert any(sentence.endswith(reported) for sentence in everything(comparison))


def test_less_is_better(on_desk: Results) -> None:
    """A soft top takes 10 lg(1 - 0.75) = 6.02 dB from the desk and from nothing else, edges left out."""
    reference, softer = (
        traced(
            changed("top = 0.74", 'top = 0.74\nmaterial = "own top"', ON_DESK)
            + f'\n[materials."own top"]\nabsorption = {[alpha] * 8}\nsource = "made up for a test"\n',
            flat=True,
        )
        for alpha in (0.0, 0.75)
    )
    better = compare([reference, softer])
    desk = change(better, "left", "desk top")
    assert desk.worst_db[1] - desk.worst_db[0] == pytest.approx(10.0 * np.log10(0.25), abs=1e-6)
    assert np.all(better.early_db[1] < better.early_db[0])
    assert any(s.startswith("left via the desk top") for s in better.improved[0])
    assert any(s.startswith("early reflections above the target: ") for s in better.improved[0])
    assert better.worse == ((),)
    back = compare([softer, reference])
    assert any(s.startswith("left via the desk top") for s in back.worse[0])
    assert back.improved == ((),)


def test_what_goes_and_what_comes_is_named(on_desk: Results, on_stands: Results) -> None:
    """On the desk the screen shades the way over the right wall; on stands that wall mirrors."""
    comparison = compare([on_desk, on_stands])
    wall = change(comparison, "left", "right wall")
    assert np.isnan(wall.worst_db[0])
    assert wall.delay_ms[1] == pytest.approx(8.33, abs=0.01)
    assert wall.why_not[1] == ""
    hidden = re.fullmatch(r"blocked by the screen, by (\d\.\d) cm: fragile", wall.why_not[0])
    assert hidden, "what trace says of it: blocked by less than a chair moves"
    level = f"{db_words(wall.worst_db[1])} at {wall.delay_ms[1]:.2f} ms"
    fragile = " (fragile)" if wall.margin_m[1] < 0.05 else ""
    assert f"left via the right wall: new, {level}{fragile}; in A {wall.why_not[0]}" in comparison.worse[0]
    back = compare([on_stands, on_desk])
    assert f"left via the right wall: {level} is gone: {wall.why_not[0]}" in back.improved[0]


def test_three_layouts_are_each_compared_with_the_first(on_desk: Results, on_stands: Results) -> None:
    three = compare([on_desk, on_stands, on_desk])
    two = compare([on_desk, on_stands])
    assert three.titles == tuple(each.scene.blueprint.title for each in (on_desk, on_stands, on_desk))
    assert three.early_db.shape == (3, 2, len(on_desk.responses.bands))
    assert three.improved == (two.improved[0], ())
    assert three.worse == (two.worse[0], ())
    np.testing.assert_array_equal(three.early_db[0], three.early_db[2])


def test_other_names_are_matched_in_order(on_desk: Results, on_stands: Results) -> None:
    renamed = traced(ON_STANDS.replace('name = "left"', 'name = "L"').replace('name = "right"', 'name = "R"'))
    comparison = compare([on_desk, renamed])
    assert comparison.loudspeakers == ("left", "right")
    plain = compare([on_desk, on_stands])
    np.testing.assert_array_equal(comparison.early_db, plain.early_db)
    assert comparison.improved == plain.improved


def test_names_count_before_order(on_desk: Results) -> None:
    """The second layout names the right one first, under a name of its own."""
    text = ON_DESK.replace('name = "right"', 'name = "other"')
    head, left, rest = text.partition('[[loudspeakers]]\nname = "left"')
    left_table, other, tail = (left + rest).partition('[[loudspeakers]]\nname = "other"')
    other_table, furniture, end = (other + tail).partition("# --- furniture")
    swapped = traced(head + other_table + left_table + furniture + end)
    assert [one.name for one in swapped.built.loudspeakers] == ["other", "left"]
    comparison = compare([on_desk, swapped])
    # edges in turn of a mirrored pair are summed once, for the monitor that comes first
    np.testing.assert_allclose(comparison.early_db[1], comparison.early_db[0], atol=2e-4)
    assert comparison.improved == comparison.worse == ((),)


def test_another_number_of_loudspeakers_is_refused(on_desk: Results) -> None:
    start = ON_DESK.index('[[loudspeakers]]\nname = "right"')
    single = traced(ON_DESK[:start] + ON_DESK[ON_DESK.index("# --- furniture") :])
    for pair in ([on_desk, single], [single, on_desk]):
        with pytest.raises(SceneError, match="same number of monitors"):
            compare(pair)


def test_silence_is_no_level_and_other_targets_are_said(on_desk: Results) -> None:
    """Nothing arrives in the first tenth of a millisecond."""
    short = traced(ON_DESK + "\n[target]\nwindow_ms = [0.0, 0.1]\n")
    comparison = compare([short, on_desk])
    assert silent(float(comparison.early_db[0].max()))
    assert comparison.strongest_db[0].tolist() == [SILENCE_DB, SILENCE_DB]
    assert any(s.startswith("early reflections above the target: 0.0 dB, then ") for s in comparison.worse[0])
    assert "targets of the layouts differ" in comparison.cautions[0]
    both = compare([short, short])
    assert any("early reflections above the target: 0.0 dB, then 0.0 dB" in s for s in both.unchanged[0])


def test_a_target_named_or_told_by_its_numbers_is_the_same(on_desk: Results) -> None:
    named = traced(ON_DESK + '\n[target]\npreset = "-15 dB to 20 ms"\n')
    assert compare([on_desk, named]).cautions == ()


def test_a_surface_that_takes_everything_sends_nothing(on_desk: Results) -> None:
    dead = ON_DESK + '\n[materials."open air"]\nabsorption = [1, 1, 1, 1, 1, 1, 1, 1]\nsource = "nothing comes back"\n'
    silenced = traced(changed('ceiling = "plasterboard on studs"', 'ceiling = "open air"', dead))
    comparison = compare([on_desk, silenced])
    assert np.isnan(change(comparison, "left", "ceiling").worst_db[1])
    (sentence,) = (s for s in comparison.improved[0] if s.startswith("left via the ceiling"))
    assert sentence.endswith("is gone: it takes away all sound")


def test_edges_of_a_top_that_takes_everything_are_still_heard(on_desk: Results) -> None:
    """Of the listed level, that of image and edges together, the image goes and the edges stay."""
    dead = ON_DESK + '\n[materials."open air"]\nabsorption = [1, 1, 1, 1, 1, 1, 1, 1]\nsource = "nothing comes back"\n'
    silenced = traced(changed("top = 0.74", 'top = 0.74\nmaterial = "open air"', dead))
    desk = change(compare([on_desk, silenced]), "left", "desk top")
    assert -40.0 < desk.worst_db[1] < desk.worst_db[0] - 12.0


def test_a_surface_off_to_the_side_says_by_how_much(on_desk: Results) -> None:
    """A desk that ends at depth 0.80 loses the points of the woofer (0.85) and of the tweeter (0.99).

    What its rim sends stays listed with the reflection, until the point lies 35 cm outside; without edges all is gone.
    """
    shallow = traced(changed("from_front = [0.55, 1.30]", "from_front = [0.55, 0.80]", ON_DESK))
    comparison = compare([on_desk, shallow])
    arrival = next(a for a in on_desk.responses.arrivals if a.loudspeaker == "left" and a.via == "desk top")
    nearest = min(float(part.points[0, 0]) for part in arrival.parts)
    outside = small_words(nearest - 0.80, "m")
    (sentence,) = (s for s in comparison.improved[0] if s.startswith("left via the desk top"))
    assert f"; the reflection point then lies {outside} outside it" in sentence
    left_out = tuple(a for a in shallow.responses.arrivals if a.via != "desk top")
    bare = replace(shallow, responses=replace(shallow.responses, arrivals=left_out))
    (sentence,) = (s for s in compare([on_desk, bare]).improved[0] if s.startswith("left via the desk top"))
    assert sentence.endswith(f"is gone: the reflection point lies {outside} outside it: fragile")
    back = compare([shallow, on_desk]).worse[0]
    assert any(f"; the reflection point lay {outside} outside it" in s for s in back)


def test_small_steps_are_no_news(on_desk: Results) -> None:
    """A loudspeaker moved by 1 cm changes no level by a decibel, save where a path comes or goes."""
    moved = traced(ON_DESK.replace("from_front = 0.62", "from_front = 0.63"))
    comparison = compare([on_desk, moved])
    step = comparison.strongest_db[1] - comparison.strongest_db[0]
    assert np.all(np.abs(step) < NOTICEABLE_DB)
    assert np.any(step != 0.0)
    assert comparison.unchanged[0][0].startswith("measure: ")
    assert sum(s.startswith(("left via", "right via")) for s in comparison.unchanged[0]) >= 6
