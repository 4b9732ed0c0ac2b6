"""The picture of one arrival: what it shows, and that nothing falls off it."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from sim.responses.records import Results
from sim.showing.archive.results import NAME, write_results
from sim.showing.labels import renderer_of
from sim.studies.explain import draw_explanation_of
from sim.studies.explain.explanation import explain
from sim.studies.explain.picture import draw_explanation, explanation_figure
from tests.explained import PANEL, POINT, TWO_WAY, number_of, traced


def words_of(figure: Figure) -> list[str]:
    axes = [text.get_text() for place in figure.axes for text in place.texts]
    titles = [place.get_title(loc) for place in figure.axes for loc in ("left", "center")]
    return [*axes, *titles, *(text.get_text() for text in figure.texts)]


def chosen(invented: Results) -> list[int]:
    arrivals = [a for a in invented.responses.arrivals if a.loudspeaker == "left" and a.listener == "ear"]
    kinds: dict[tuple[str, int], int] = {}
    for arrival in sorted(arrivals, key=lambda a: a.number):
        kinds.setdefault((arrival.kind, arrival.order), arrival.number)
    return list(kinds.values())


@pytest.mark.parametrize("text", [POINT + PANEL, TWO_WAY], ids=["point", "pair"])
def test_all_kinds_of_arrival_can_be_drawn_and_no_text_falls_off(text: str) -> None:
    results = traced(text)
    assert len(chosen(results)) >= 4
    for number in chosen(results):
        figure = explanation_figure(results, explain(results, "left", "ear", number))
        whole = figure.bbox
        for words in figure.texts:
            box = words.get_window_extent(renderer_of(figure))
            assert box.x0 >= whole.x0 - 1 and box.x1 <= whole.x1 + 1, words.get_text()
            assert box.y0 >= whole.y0 - 1 and box.y1 <= whole.y1 + 1, words.get_text()
        for place in figure.axes:
            box = place.get_tightbbox(renderer_of(figure))
            assert box is not None and box.x0 >= whole.x0 - 1 and box.x1 <= whole.x1 + 1
            assert box.y0 >= whole.y0 - 1


def test_the_bars_end_at_the_level_of_the_arrival() -> None:
    results = traced(TWO_WAY)
    explained = explain(results, "left", "ear", number_of(results, "ceiling"))
    figure = explanation_figure(results, explained)
    bars = next(place for place in figure.axes if place.patches and "what takes" in place.get_title("left"))
    ends = [(bar.get_x(), bar.get_width()) for bar in bars.patches]
    assert ends[-1] == (pytest.approx(0.0), pytest.approx(explained.arrival.worst_db))
    for (start, width), (after, _) in pairwise(ends[:-1]):
        assert start + width == pytest.approx(after), "each bar begins where the one before it ends"
    last = ends[-2]
    assert sum(last) == pytest.approx(explained.arrival.worst_db)


def test_surfaces_carry_number_name_and_angle() -> None:
    results = traced(POINT + PANEL)
    explained = explain(results, number=number_of(results, "left wall (side panel)"))
    said = words_of(explanation_figure(results, explained))
    angle = f"{explained.touches[0].angle_deg:.0f}°"
    assert any(f"1: left wall, {angle}" in words for words in said)
    assert f"1: {angle} to its normal" in said
    assert "side panel" in said
    assert any("nothing is judged" in words for words in said)


def test_lengths_are_in_the_unit_of_the_scene() -> None:
    results = traced(TWO_WAY)
    explained = explain(results, "left", "ear", 1)
    figure = explanation_figure(results, explained)
    assert any(place.get_ylabel() == "up (cm)" for place in figure.axes)
    plan = figure.axes[0]
    assert plan.get_xlim() == pytest.approx((0.0, 340.0)) and plan.get_ylim() == pytest.approx((420.0, 0.0))


def test_the_same_arrival_gives_the_same_bytes(tmp_path: Path) -> None:
    results = traced(POINT)
    explained = explain(results, number=1)
    one, two = (draw_explanation(results, explained, tmp_path / name) for name in ("one.png", "two.png"))
    assert one.read_bytes() == two.read_bytes()


def test_a_child_draws_it_from_a_results_folder(tmp_path: Path) -> None:
    results = traced(POINT)
    write_results(results, tmp_path / NAME)
    picture = tmp_path / "peak.png"
    assert draw_explanation_of(tmp_path, "left", "ear", 2, picture, lambda _: None) == ""
    here = draw_explanation(results, explain(results, "left", "ear", 2), tmp_path / "here.png")
    assert picture.read_bytes() == here.read_bytes()
    assert np.isfinite(explain(results, "left", "ear", 2).points).all()
