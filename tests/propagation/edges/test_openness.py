"""Edges near another surface: no gap decides anything, and what stands on a mirror has its edges mirrored twice."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import TOUCH_M, bare_stretches, free_bodies
from sim.propagation.edges.diffracting import OPEN_M, chain_weights, fade_of_gap, opennesses
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, desk

DESK = desk((10.0, 10.75), (9.2, 10.8), 10.74)


def with_screen(
    gap_m: float, source: tuple[float, float, float] = (9.8, 9.95, 10.9), depth_m: float = 10.05
) -> BuiltScene:
    """A screen of 0.6 x 0.35 x 0.02 m over a desk in a dead room, the ear behind it."""
    screen = block((depth_m, depth_m + 0.02), (9.7, 10.3), (10.74 + gap_m, 11.09 + gap_m), name="screen")
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], (11.05, 10.1, 11.0), furniture=[DESK, screen])


def level_db(gap_m: float) -> np.ndarray:
    built = with_screen(gap_m)
    response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
    some = (response.frequencies_hz > 150.0) & (response.frequencies_hz < 1000.0)
    return 20.0 * np.log10(np.abs(response.total[0, 0] / response.direct[0, 0])[some])


@pytest.mark.parametrize("gap_m", [0.0, 0.95e-3, 5.0e-3])
def test_a_screen_that_rises_by_a_tenth_of_a_millimetre_moves_nothing_by_a_tenth_of_a_db(
    gap_m: float,
) -> None:
    """Behind the screen, 150 Hz to 1 kHz, over the millimetre at which it once let go of the desk by 27 dB."""
    assert np.abs(level_db(gap_m + 1.0e-4) - level_db(gap_m)).max() < 0.1


@given(st.floats(0.0, 0.06), st.floats(0.0, 1.0e-4))
def test_the_fade_rises_steadily_from_touching_to_open(gap_m: float, more_m: float) -> None:
    here, further = fade_of_gap(np.array([gap_m, gap_m + more_m]))
    assert 0.0 <= here <= further <= 1.0
    assert further - here <= 0.5 * np.pi * more_m / (OPEN_M - TOUCH_M) + 1e-12
    assert fade_of_gap(np.array([TOUCH_M, OPEN_M])).tolist() == pytest.approx([0.0, 1.0])


def test_only_the_lower_edges_of_a_screen_close_to_a_desk_are_faded() -> None:
    built = with_screen(0.01)
    room = built.room
    bare = bare_stretches(room)
    opened = opennesses(room, bare)
    number = room.owner_number("screen")
    weights = chain_weights(room, number, free_bodies(room)[number], bare, opened)
    assert sorted(weights) == pytest.approx([float(fade_of_gap(np.array([0.01]))[0])] * 4 + [1.0] * 8)
    assert {float(room.edges.ends[edge][:, 2].max()) for edge in opened} == {10.75}


def test_two_edges_of_a_screen_on_a_desk_are_mirrored_in_the_desk_before_after_and_both() -> None:
    """Behind the screen only paths over two of its edges arrive; 60 mm in the air they are mirrored no less."""
    for gap_m in (0.0, 0.06):
        built = with_screen(gap_m, (10.1, 9.95, 10.95), 10.4)
        paths = trace_edges(built, 2)
        top = next(n for n, facet in enumerate(built.room.facets) if facet.owner == "desk" and facet.normal[2] > 0.9)
        chained = (paths.edge < 0) & (paths.owner == built.room.owner_number("screen"))
        mirrors = set(zip(paths.before[chained].tolist(), paths.after[chained].tolist(), strict=True))
        assert mirrors == {(-1, -1), (top, -1), (-1, top), (top, top)}
        for column, facet in ((0, paths.before), (2, paths.after)):
            assert paths.points[chained & (facet == top)][:, column, 2] == pytest.approx(10.74, abs=1e-9)
        assert (paths.length_m[chained] >= np.linalg.norm(np.subtract((10.1, 9.95, 10.95), built.ears[0]))).all()
