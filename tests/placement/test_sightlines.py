"""Sight lines with a screen in the way, beside it and above it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.placement.sheet import SightLine, sight_lines
from tests.built_scenes import box, built_scene_of, loudspeaker

EAR = (2.6, 2.0, 1.2)


def screen(top: float, left: float, right: float) -> dict[str, Any]:
    """A thin screen whose face stands 1.5 m from the front."""
    middle = {"from_front": 1.5, "from_left": 0.5 * (left + right), "up": 0.8}
    return {
        "kind": "screen",
        "at": middle,
        "width": right - left,
        "height": top - 0.8,
        "thickness": 0.04,
        "material": "hard",
    }


def lines(furniture: list[dict[str, Any]], model: str = "point") -> list[SightLine]:
    built = built_scene_of(box(5.0, 4.0, 2.6), [loudspeaker((1.0, 2.0, 1.2), model=model)], EAR, furniture=furniture)
    return list(sight_lines(built))


def test_an_empty_room_hides_nothing() -> None:
    (line,) = lines([])
    assert (line.hidden_by, line.clearance_m, line.nearest) == ("", np.inf, "")
    assert (line.loudspeaker, line.driver, line.listener) == ("left", "point", "ear")


@pytest.mark.parametrize(("top", "hidden", "clearance"), [(1.35, True, 0.15), (1.22, True, 0.02), (1.15, False, 0.05)])
def test_a_screen_across_the_line(top: float, hidden: bool, clearance: float) -> None:
    (line,) = lines([screen(top, 1.0, 3.0)])
    assert (line.hidden_by == "screen") == hidden
    assert line.clearance_m == pytest.approx(clearance, abs=1e-6)
    assert line.nearest == "screen"


def test_a_screen_beside_the_line_clears_it_by_its_edge() -> None:
    (line,) = lines([screen(1.6, 2.11, 3.0)])
    assert line.hidden_by == ""
    assert line.clearance_m == pytest.approx(0.11, abs=1e-6)


def test_a_screen_that_hides_the_woofer_only() -> None:
    found = {line.driver: line for line in lines([screen(1.16, 1.0, 3.0)], "two-way")}
    # woofer 0.15 below: the line from it rises by 0.15 over 1.6 m and is at 1.0969 up at the face, 0.06 in the shade
    assert found["tweeter"].hidden_by == ""
    assert found["tweeter"].clearance_m == pytest.approx(0.04, abs=1e-6)
    assert found["woofer"].hidden_by == "screen"
    assert found["woofer"].clearance_m == pytest.approx(
        (0.11 - 0.15 * 0.5 / 1.6) * np.cos(np.arctan(0.15 / 1.6)), abs=5e-3
    )


def test_the_own_box_hides_nothing_even_from_behind() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [loudspeaker((3.0, 2.0, 1.2), model="two-way", toe_in_deg=0.0)],
        EAR,
    )
    assert {line.hidden_by for line in sight_lines(built)} == {""}


def test_another_box_can_be_in_the_way() -> None:
    pair = [loudspeaker((0.6, 2.0, 1.2), "far", model="two-way"), loudspeaker((1.4, 2.0, 1.2), "near", model="two-way")]
    found = {
        (line.loudspeaker, line.driver): line.hidden_by
        for line in sight_lines(built_scene_of(box(5.0, 4.0, 2.6), pair, EAR))
    }
    assert found["far", "tweeter"] == "near loudspeaker"
    assert found["near", "tweeter"] == ""


def test_shade_is_that_of_what_hides_not_of_what_is_nearer() -> None:
    shelf = {
        "kind": "shelf",
        "from_front": [1.9, 2.1],
        "from_left": [1.0, 3.0],
        "up": [1.0, 1.17],
        "material": "hard",
    }
    (line,) = lines([screen(1.35, 1.0, 3.0), shelf])
    assert (line.hidden_by, line.nearest) == ("screen", "screen")
    assert line.clearance_m == pytest.approx(0.15, abs=1e-6)
    (clear,) = lines([screen(1.1, 1.0, 3.0), shelf])
    assert (clear.hidden_by, clear.nearest) == ("", "shelf")
    assert clear.clearance_m == pytest.approx(0.03, abs=1e-6)
