"""A path via a desk and a small face: nothing steps where it leaves the face, nor where it leaves the desk."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.tracing import edge_frequencies, trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces import two_finite_mirrors as two
from sim.propagation.surfaces.finite_facets import BESIDE_M, worth_keeping
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, desk
from tests.propagation.edges.stepping import PLACES_M, heard_steps_db, middle_step_db, spot_levels_db

TOP, FACE, LEFT, HIGH = 10.74, 10.4, 9.9, 0.3
FURNITURE = [
    desk((10.0, 10.75), (9.2, 10.8), TOP),
    block((10.2, FACE), (LEFT, 10.2), (TOP, TOP + HIGH), name="case"),
]
Point = tuple[float, float, float]
Moves = Callable[[float], tuple[Point, Point]]


def scene(source: Point, ear: Point) -> BuiltScene:
    """A case on a desk, nothing else; its side toward the ear is 0.09 m2."""
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], ear, furniture=FURNITURE)


def past_the_upright_edge(source: Point, depth: float, up: float) -> Moves:
    """Moves the ear sideways through where its path leaves the side."""
    image = 2.0 * FACE - source[0]
    across = source[1] + (LEFT - source[1]) * (depth - image) / (FACE - image)
    return lambda u: (source, (depth, across + u, TOP + up))


def past_the_upper_edge(source: Point, depth: float) -> Moves:
    """Moves the ear up through where its path by the desk first, then by the side, leaves the side."""
    image, below = 2.0 * FACE - source[0], TOP - source[2]
    up = below + (HIGH - below) * (depth - image) / (FACE - image)
    return lambda u: (source, (depth, source[1] + 0.02, TOP + up + u))


def past_the_rim(source: Point, depth: float, across: float) -> Moves:
    """Moves the ear back through where its path leaves the desk."""
    image = 2.0 * FACE - source[0]
    share = (10.75 - image) / (depth - image)
    return lambda u: (source, (depth + u, across, TOP + (source[2] - TOP) * (1.0 - share) / share))


CASES: dict[str, Moves] = {
    "upright edge": past_the_upright_edge((10.65, 10.05, TOP + 0.15), 11.1, 0.3),
    "upright edge, all low": past_the_upright_edge((10.6, 10.0, TOP + 0.05), 11.0, 0.1),
    "upright edge, near the rim of the desk": past_the_upright_edge((10.7, 10.0, TOP + 0.3), 10.95, 0.15),
    "upper edge": past_the_upper_edge((10.65, 10.05, TOP + 0.15), 11.1),
    "upper edge, low": past_the_upper_edge((10.6, 10.0, TOP + 0.05), 11.0),
    "rim of the desk": past_the_rim((10.65, 10.05, TOP + 0.15), 11.2, 10.0),
}


@pytest.mark.parametrize("case", CASES)
def test_a_tenth_of_a_millimetre_past_a_rim_moves_no_level_by_a_tenth_of_a_db(case: str) -> None:
    """150 Hz to 8 kHz, no sound waves, beside the steps next to it; where 15 dB under the direct sound is left."""
    levels = []
    for u in PLACES_M:
        built = scene(*CASES[case](u))
        paths = trace_paths(built, 2, beside_m=BESIDE_M)
        response = ear_response(built, paths.chosen(worth_keeping(built, paths)), trace_edges(built, 2))
        levels.append(spot_levels_db(response))
    steps = heard_steps_db(levels)
    assert middle_step_db(steps) < 0.1
    assert np.abs(steps).max() > 1.0e-5  # something does move


def test_shares_go_from_nothing_on_the_rim_to_all_and_read_like_gains_of_edges() -> None:
    built = scene(*CASES["upper edge"](0.0))
    top = next(f for f, facet in enumerate(built.room.facets) if facet.name == "desk top")
    depths = 10.75 - np.array([-0.05, 0.0, 0.5 * two.INSIDE_M, two.INSIDE_M, 0.25])
    places = np.stack([depths, np.full(5, 10.0), np.full(5, TOP)], axis=1)
    shares = two.inside_share(built, np.full(5, top), places)
    assert shares == pytest.approx([0.0, 0.0, 0.5, 1.0, 1.0], abs=1e-6)
    assert two.clear_of_face(np.array([0.0, two.CLEAR_COS, 1.0])) == pytest.approx([0.0, 1.0, 1.0])
    factor = np.full((1, 2), 0.4 + 0.3j)
    assert two.share_of_edges(np.ones(1), np.zeros(1), factor) == pytest.approx(np.ones((1, 2)))
    assert two.share_of_edges(np.full(1, 0.5), np.ones(1), factor) == pytest.approx(0.5 * factor)
    side, upper = (
        next(f for f, one in enumerate(built.room.facets) if one.name == f"case {name}")
        for name in ("listener side", "top")
    )
    assert two.broadness(built, np.array([side, upper, top]))[[0, 2]] == pytest.approx(1.0)
    assert 0.0 < two.broadness(built, np.array([upper]))[0] <= 1.0
    grid = edge_frequencies()
    assert two.from_grid(np.exp(1j * grid / 1e3)[None], grid[:4]) == pytest.approx(np.exp(1j * grid[:4] / 1e3)[None])
