"""Points exactly in planes, on lines and on corners: nothing is divided by nothing, and the answer is the limit."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.propagation.edges.convex import prism
from sim.propagation.edges.edge_kernels import apex_place, edge_pressure
from sim.propagation.edges.plates import body_pressure
from sim.propagation.edges.single import edge_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, loudspeaker

ROUND = st.sampled_from([-0.5, 0.0, 0.5, 1.0, 1.5])
POINTS = st.tuples(ROUND, ROUND, ROUND).map(np.array)
WAVENUMBERS = np.array([2.0, 20.0, 90.0])
HZ = np.array([200.0, 1000.0, 4000.0])


@settings(max_examples=150, deadline=None)
@given(POINTS, POINTS, st.sampled_from([1.25, 1.5, 1.75, 2.0]))
def test_one_edge_with_both_ends_anywhere_on_a_grid(source: np.ndarray, ear: np.ndarray, turn: float) -> None:
    """The edge runs from 0 to 1 along the last axis: ends lie in its faces, on its line, its ends, each other."""
    wedge = (
        np.zeros(3),
        np.array([0.0, 0.0, 1.0]),
        np.array([1.0, 0.0, 0.0]),
        np.array([0.0, 1.0, 0.0]),
        1.0,
        turn * math.pi,
    )
    found = edge_pressure(source, ear, wedge, 0.0, 1.0, WAVENUMBERS, np.zeros((0, 3), dtype=np.complex128))
    assert np.isfinite(found).all()


def test_the_apex_between_two_ends_in_line_with_the_edge_is_half_way() -> None:
    """All places between them are equally far; the rule for ends beside the line has that limit for equal distances."""
    assert apex_place(0.0, -1.0, 0.0, 3.0) == 1.0
    assert apex_place(1e-9, -1.0, 1e-9, 3.0) == pytest.approx(1.0)


@settings(max_examples=25, deadline=None)
@given(POINTS, POINTS)
def test_a_plate_with_both_ends_anywhere_on_a_grid(source: np.ndarray, ear: np.ndarray) -> None:
    """Ends on faces, in line with edges, over corners; the plate is 1.0 by 1.0 by 0.5 m."""
    plate = prism(np.array([[0.0, 0.0, 0.5], [1.0, 0.0, 0.5], [1.0, 1.0, 0.5], [0.0, 1.0, 0.5]]), 0.5)
    assume(not plate.contains(source) and not plate.contains(ear) and np.linalg.norm(source - ear) > 0.0)
    assert np.isfinite(body_pressure(plate, source, ear, WAVENUMBERS, 2)).all()


@pytest.mark.parametrize("end", ["source", "ear"])
def test_no_edge_is_reached_over_a_mirror_in_whose_plane_an_end_lies(end: str) -> None:
    """In the plane of a beam's side, beside the beam: as a micrometre before it and behind it, nothing comes that way.

    From a little before the plane the point of reflection would lie beside the beam, so that is the limit too.
    """
    beam = block((2.0, 2.3), (0.0, 3.0), (2.0, 2.4), name="beam")
    table = block((2.6, 3.2), (1.0, 2.0), (0.6, 0.7), name="table")
    counts = []
    for shift in (-1e-6, 0.0, 1e-6):
        one, other = (2.3 + shift, 1.2, 1.2), (3.6, 1.9, 1.15)
        source, ear = (one, other) if end == "source" else (other, one)
        built = built_scene_of(box(4.5, 3.0, 2.4), [source], ear, furniture=[beam, table])
        side = next(i for i, facet in enumerate(built.room.facets) if facet.name == "beam listener side")
        way = {"before" if end == "source" else "after": (side,)}
        found = edge_gains(built.room, np.array(source), np.array(ear), -2, HZ, 343.0, **way)  # type: ignore[arg-type]
        assert np.isfinite(found.gains).all()
        counts.append(len(found.edges))
    assert counts == [0, 0, 0]


AWKWARD: dict[str, tuple[Any, Any, list[Any]]] = {
    "level with a top": ((1.0, 1.2, 0.7), (3.6, 1.5, 0.7), [block((2.0, 2.8), (1.0, 2.0), (0.6, 0.7))]),
    "both in line with an edge": ((1.0, 1.0, 0.7), (3.6, 1.0, 0.7), [block((2.0, 2.8), (1.0, 2.0), (0.6, 0.7))]),
    "in line with an upright edge": ((2.0, 1.0, 0.3), (2.0, 1.0, 1.2), [block((2.0, 2.8), (1.0, 2.0), (0.6, 0.7))]),
    "over a corner": ((2.8, 2.0, 1.2), (2.8, 2.0, 2.0), [block((2.0, 2.8), (1.0, 2.0), (0.0, 0.7))]),
    "on the plane of symmetry": ((1.0, 1.5, 1.2), (3.0, 1.5, 1.2), [block((1.8, 2.4), (1.0, 2.0), (0.0, 0.7))]),
    "no furniture": ((1.0, 1.0, 1.2), (3.0, 2.0, 1.2), []),
    "a sheet of a millimetre": ((1.0, 1.2, 1.2), (3.6, 1.5, 1.2), [block((2.0, 2.001), (1.0, 2.0), (0.0, 1.4))]),
    "a wall from side to side": ((1.0, 1.2, 1.2), (3.6, 1.5, 1.2), [block((2.0, 2.1), (0.0, 3.0), (0.0, 2.4))]),
}


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_places_give_finite_sound(name: str) -> None:
    source, ear, furniture = AWKWARD[name]
    built = built_scene_of(box(4.5, 3.0, 2.4), [source], ear, furniture=furniture)
    for order in (1, 2):
        response = ear_response(built, trace_paths(built, order), trace_edges(built, order))
        assert np.isfinite(response.total).all()
    if name == "a wall from side to side":
        assert np.abs(response.total).max() == 0.0


def test_two_loudspeakers_may_stand_side_by_side_and_one_alone() -> None:
    for sources in ([loudspeaker((1.0, 1.0, 1.2))], [(1.0, 1.0, 1.2), (1.0, 1.02, 1.2)]):
        built = built_scene_of(box(4.5, 3.0, 2.4), sources, (3.0, 1.5, 1.2))
        assert np.isfinite(ear_response(built, trace_paths(built, 2), trace_edges(built, 2)).total).all()


@pytest.mark.parametrize("place", [((3.2, 4.25, 0.90), (4.05, 4.1, 0.56)), ((3.3, 4.4, 0.94), (3.4, 4.6, 0.54))])
def test_an_ear_exactly_on_a_border_of_shadow_hears_what_it_hears_beside_it(
    place: tuple[tuple[float, float, float], tuple[float, float, float]],
) -> None:
    """The straight line touches an edge of the top; before, 6 to 12 dB were missing there and nowhere else."""
    (x, y, z), ear = place
    table = block((3.0, 3.6), (3.5, 4.5), (0.71, 0.74))
    levels = []
    for up in (-1e-6, 0.0, 1e-6):
        built = built_scene_of(box(8.0, 8.0, 4.0), [(x, y, z + up)], ear, furniture=[table])
        response = ear_response(built, trace_paths(built, 1), trace_edges(built, 1))
        some = np.interp(HZ, response.frequencies_hz, np.abs(response.total[0, 0]))
        levels.append(20.0 * np.log10(some))
    assert np.ptp(levels, axis=0) == pytest.approx(0.0, abs=0.02)
