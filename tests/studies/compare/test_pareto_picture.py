"""The picture of which layouts are worth a look."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.studies.compare.pareto_picture import draw_pareto, pareto_figure
from tests.showing.drawn_words import drawn_texts, faults, words_of
from tests.studies.compare.test_many_text import made_up


def scattered(count: int, *, flat: bool = False, priced: bool = False):
    random = np.random.default_rng(5)
    costs = np.column_stack(
        [random.uniform(-3, 6, count), random.uniform(0, 0.3 if flat else 4, count), random.integers(0, 5, count)]
    )
    titles = tuple(
        f"Layout number {n} with a title that is rather long to be written in one line" for n in range(count)
    )
    return replace(made_up(count, priced=priced), costs=costs, front=random.random(count) < 0.3, titles=titles)


@pytest.mark.parametrize("count", [3, 12, 30, 60])
@pytest.mark.parametrize("flat", [False, True])
def test_every_word_can_be_read(count, flat):
    assert faults(pareto_figure(scattered(count, flat=flat))) == []


def test_layouts_worth_a_look_are_named_first_and_bold():
    many = scattered(12)
    bold = {
        text.get_text().split(":")[0] for text in drawn_texts(pareto_figure(many)) if text.get_fontweight() == "bold"
    }
    front = {letter for letter, there in zip(many.letters, many.front, strict=True) if there}
    assert front and front <= bold and bold - front == {"layout, panels"}


def test_upward_axis_is_what_differs():
    assert "left and right apart" in words_of(pareto_figure(scattered(8)))
    assert "panels of the layout" in words_of(pareto_figure(scattered(8, flat=True)))
    assert "money for panels" in words_of(pareto_figure(scattered(8, flat=True, priced=True)))


def test_silence_and_layouts_all_alike_are_drawn(tmp_path):
    many = scattered(4)
    costs = many.costs.copy()
    costs[2, 0] = -185.0
    assert faults(pareto_figure(replace(many, costs=costs))) == []
    costs[:] = costs[0]
    assert draw_pareto(replace(many, costs=costs), tmp_path / "pareto.png").stat().st_size > 10_000


def test_a_picture_without_a_trade_off_says_so_in_words():
    many = scattered(5)
    alone = replace(many, front=np.arange(5) == 2)
    figure = pareto_figure(alone)
    assert figure.axes == [] and faults(figure) == []
    assert f"{many.letters[2]} is as good as any or better in everything" in words_of(figure)
    alike = replace(many, costs=many.costs * 0.0, front=np.ones(5, dtype=bool))
    assert "all are the same within what can be told" in words_of(pareto_figure(alike))
    assert pareto_figure(many).axes
