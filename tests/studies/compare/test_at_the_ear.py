"""What single things do at the ear, layout against layout."""

from __future__ import annotations

import numpy as np
import pytest

from sim.responses.records import Results
from sim.studies.compare.comparison import compare
from sim.studies.compare.surfaces import LISTED_THINGS, EarChange, deepest_notches, ear_changes, strongest_edge_paths
from tests.studies.compare.layouts import ON_DESK, ON_STANDS, traced

PANEL = """
[[panels]]
name = "side panel"
surface = "right wall"
from_front = [0.70, 1.40]
up = [0.50, 1.70]
material = "100 mm wool"
"""


@pytest.fixture(scope="module")
def layouts() -> list[Results]:
    return [traced(ON_DESK), traced(ON_STANDS), traced(ON_DESK + PANEL)]


def thing(changes: list[EarChange], name: str) -> EarChange:
    return next(change for change in changes if change.name == name)


def test_what_the_desk_adds_is_the_ear_with_it_less_the_ear_without(layouts: list[Results]) -> None:
    """Third-octave of 1600 Hz, where the notch of the loudspeaker on the desk lies, by a plain mean."""
    desk = thing(ear_changes(layouts, ["left"] * 3, "left"), "desk")
    assert (desk.kind, desk.loudspeaker) == ("piece", "left")
    band = desk.third_octave_hz.tolist().index(1600.0)
    for layout, result in enumerate(layouts):
        response = result.responses.response
        inside = np.abs(np.log10(response.frequencies_hz[1:] / 10**3.2)) < 0.05
        total = response.total[0, 0][1:][inside]
        without = total - response.by_piece[0, 0, response.pieces.index("desk")][1:][inside]
        expected = 10.0 * np.log10(np.mean(np.abs(total) ** 2) / np.mean(np.abs(without) ** 2))
        assert desk.adds_db[layout, band] == pytest.approx(expected, abs=0.25)
    assert desk.adds_db[0, band] < -2.0
    assert desk.adds_db[1, band] > 0.0


def test_strength_counts_judged_bands_and_ranks(layouts: list[Results]) -> None:
    changes = ear_changes(layouts[:2], ["left", "left"], "left")
    assert 2 < len(changes) <= LISTED_THINGS
    strongest = [float(np.nanmax(change.rms_db)) for change in changes]
    assert strongest == sorted(strongest, reverse=True)
    desk = thing(changes, "desk")
    judged = desk.third_octave_hz * 10**-0.05 >= layouts[0].responses.transition_hz * 0.999
    assert np.array_equal(desk.judged, judged)
    assert desk.rms_db[0] == pytest.approx(np.sqrt(np.mean(desk.adds_db[0, judged] ** 2)))
    (most, most_hz), (least, least_hz) = desk.extremes(0)
    assert most == desk.adds_db[0, judged].max() and least == desk.adds_db[0, judged].min()
    assert desk.adds_db[0, desk.third_octave_hz == most_hz] == most
    assert desk.adds_db[0, desk.third_octave_hz == least_hz] == least


def test_a_panel_is_there_in_one_layout_and_not_in_the_other(layouts: list[Results]) -> None:
    panel = thing(ear_changes([layouts[0], layouts[2]], ["right", "right"], "right"), "side panel")
    assert panel.kind == "panel"
    assert np.isnan(panel.rms_db[0]) and np.isnan(panel.adds_db[0]).all()
    assert panel.rms_db[1] > 0.1
    first, then = (layouts[n].responses.response.levels.whole_db[1, 0, 0] for n in (0, 2))
    # What the panel adds is what is different between the layouts, for nothing else is.  Sound waves, which rule up to
    # 1 kHz and have gone over to mirrors and edges by 1.4 kHz, know the panel only by what those say it adds.
    by_edges = panel.third_octave_hz > 1600.0
    assert panel.adds_db[1, by_edges] == pytest.approx((then - first)[by_edges], abs=1e-3)
    assert panel.adds_db[1] == pytest.approx(then - first, abs=0.1)


def test_notches_and_edges_are_told_for_each_layout(layouts: list[Results]) -> None:
    on_desk, on_stands = deepest_notches(layouts[:2], ["left", "left"])
    deepest = next(n for n in layouts[0].responses.notches if (n.loudspeaker, n.listener) == ("left", "ear"))
    assert on_desk.startswith(f"{deepest.frequency_hz:.0f} Hz {deepest.depth_db:.0f} dB (")
    assert on_desk.count(",") == on_stands.count(",") == 3
    assert "desk top" in on_desk and "desk top" in on_stands
    for layout, words in zip(layouts, strongest_edge_paths(layouts[:2], ["left", "left"]), strict=False):
        mine = [a for a in layout.responses.arrivals if a.diffracted and (a.loudspeaker, a.listener) == ("left", "ear")]
        worst = max(mine, key=lambda one: one.worst_db)
        assert words.startswith(f"{worst.worst_db:.1f} dB at ")
        assert words.endswith(f" {worst.main.delay_ms:.2f} ms: {worst.via}")


def test_a_comparison_holds_them_for_every_loudspeaker(layouts: list[Results]) -> None:
    comparison = compare(layouts[:2])
    assert {change.loudspeaker for change in comparison.ear} == {"left", "right"}
    assert len(comparison.notches) == len(comparison.edge_paths) == 2
    assert all(len(row) == 2 for row in (*comparison.notches, *comparison.edge_paths))
