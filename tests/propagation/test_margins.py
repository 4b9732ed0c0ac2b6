"""How near a path is to vanishing, against desks whose numbers a pencil gives.

A margin is the distance from the mirror point to the rim of its surface, or from a leg to the nearest edge of
something else, whichever is less.  Moving less than it keeps the path; moving the rim by more takes the path away.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.propagation.paths import Candidate, PathTable
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

SOURCE, EAR = (1.0, 2.0, 1.2), (2.2, 2.0, 1.2)
TOP = 0.75
POINT = 1.6
"""Where the 3-4-5 triangle meets the desk, from the front."""


def with_desk(far: float = 0.5, near: float = 3.0, left: float = 1.0, right: float = 3.0, **more: object) -> BuiltScene:
    furniture = [desk((far, near), (left, right), TOP), *more.pop("besides", [])]  # type: ignore[misc]
    return built_scene_of(box(5.0, 4.0, 2.6), [more.pop("source", SOURCE)], more.pop("ear", EAR), furniture=furniture)  # type: ignore[arg-type]


def desk_path(built: BuiltScene) -> tuple[PathTable, int | None]:
    paths = trace_paths(built, 1)
    top = built.room.facet_numbers("desk top")[0]
    rows = np.flatnonzero((paths.order == 1) & (paths.facets[:, 0] == top))
    return paths, int(rows[0]) if len(rows) else None


def desk_candidate(built: BuiltScene, surface: str = "desk top") -> Candidate:
    (found,) = [one for one in survey_first_order(built) if one.surface == surface]
    return found


@pytest.mark.parametrize(
    ("edges", "rim"),
    [
        ({"near": 1.9}, 0.30),
        ({"far": 1.45}, 0.15),
        ({"right": 2.2}, 0.20),
        ({"left": 1.93}, 0.07),
        ({"near": 1.9, "right": 2.2}, 0.20),
    ],
)
def test_margin_is_the_distance_to_the_nearest_rim(edges: dict[str, float], rim: float) -> None:
    built = with_desk(**edges)
    paths, row = desk_path(built)
    assert row is not None
    assert paths.margin_m[row] == pytest.approx(rim, abs=1e-6)
    assert built.room.facets[paths.margin_facet[row]].name == "desk top"
    assert paths.margin_edge[row] == -1
    found = desk_candidate(built)
    assert (found.status, found.rim_m) == ("reaches", pytest.approx(rim, abs=1e-6))
    assert found.fragile == (rim < 0.05)


@pytest.mark.parametrize("short_m", [0.001, 0.03, 0.049, 0.051, 0.2])
def test_a_desk_that_ends_before_the_point_misses_by_as_much(short_m: float) -> None:
    built = with_desk(near=POINT - short_m)
    assert desk_path(built)[1] is None
    found = desk_candidate(built)
    assert (found.status, found.rim_m) == ("misses", pytest.approx(-short_m, abs=1e-6))
    assert found.fragile == (short_m < 0.05)
    assert found.point == pytest.approx([POINT, 2.0, TOP], abs=1e-9)


def test_beyond_a_corner_the_rim_is_the_corner() -> None:
    found = desk_candidate(with_desk(near=POINT - 0.03, right=2.0 - 0.04))
    assert found.rim_m == pytest.approx(-0.05, abs=1e-6)


@settings(max_examples=30)
@given(st.floats(0.02, 0.4), st.sampled_from(["far", "near", "left", "right"]))
def test_moving_the_rim_less_than_the_margin_keeps_the_path_and_more_takes_it(margin: float, side: str) -> None:
    at, outward = {"far": (POINT, -1), "near": (POINT, 1), "left": (2.0, -1), "right": (2.0, 1)}[side]
    paths, row = desk_path(with_desk(**{side: at + outward * margin}))
    assert row is not None and paths.margin_m[row] == pytest.approx(margin, abs=1e-6)
    stated = float(paths.margin_m[row])
    assert desk_path(with_desk(**{side: at + outward * (margin - 0.99 * stated)}))[1] is not None
    assert desk_path(with_desk(**{side: at + outward * (margin - 1.01 * stated)}))[1] is None


@settings(max_examples=30)
@given(st.floats(0.02, 0.4), st.floats(0.0, 2.0 * np.pi))
def test_moving_source_and_ear_together_moves_the_point_as_far(margin: float, angle: float) -> None:
    """Less than the margin in any direction keeps the path; a little more toward the near edge takes it away."""
    near = POINT + margin
    shift = 0.99 * margin * np.array([np.cos(angle), np.sin(angle), 0.0])
    moved = with_desk(near=near, source=tuple(np.array(SOURCE) + shift), ear=tuple(np.array(EAR) + shift))
    assert desk_path(moved)[1] is not None
    away = 1.01 * margin * np.array([1.0, 0.0, 0.0])
    moved = with_desk(near=near, source=tuple(np.array(SOURCE) + away), ear=tuple(np.array(EAR) + away))
    assert desk_path(moved)[1] is None


@settings(max_examples=30)
@given(st.floats(0.03, 0.4))
def test_moving_the_ear_alone_moves_the_point_by_half(margin: float) -> None:
    """Source and ear are equally high, so the point lies half-way: the ear may move twice the margin."""
    for fraction, stays in ((1.98, True), (2.02, False)):
        ear = (EAR[0] + fraction * margin, EAR[1], EAR[2])
        assert (desk_path(with_desk(near=POINT + margin, ear=ear))[1] is not None) == stays


def test_an_edge_beside_a_leg_is_the_margin_and_moving_it_in_ends_the_path() -> None:
    """A level bar above the desk, square to the path: distance from its corner to the leg from the desk to the ear.

    The leg rises 0.45 over 0.6, so a corner at (2.0, 1.25) is |0.6 (1.25 - 0.75) - 0.45 (2.0 - 1.6)|/0.75 away.
    """
    bar = block((1.5, 2.0), (1.5, 2.5), (1.25, 1.4))
    expected = abs(0.6 * (1.25 - TOP) - 0.45 * (2.0 - POINT)) / 0.75
    assert expected == pytest.approx(0.16)
    built = with_desk(besides=[bar])
    paths, row = desk_path(built)
    assert row is not None
    assert paths.margin_m[row] == pytest.approx(0.16, abs=1e-6)
    assert paths.margin_facet[row] == -1
    edge = built.room.edges.sticking_out[paths.margin_edge[row]]
    assert built.room.facets[built.room.edges.facets[edge, 0]].owner == "block"
    # square to the leg: toward (0.6, -0.8), since the leg runs along (0.8, 0.6)
    for fraction, stays in ((0.99, True), (1.01, False)):
        step = fraction * 0.16 * np.array([0.6, -0.8])
        moved = block((1.5 + step[0], 2.0 + step[0]), (1.5, 2.5), (1.25 + step[1], 1.4 + step[1]))
        assert (desk_path(with_desk(besides=[moved]))[1] is not None) == stays


def test_shade_is_how_deep_the_leg_lies_behind_the_edge() -> None:
    """The floor behind the desk: the leg from source to floor falls 1.2 over 0.6 and passes the desk's far edge.

    At the height of the top it has run 0.225, at the underside (0.72) 0.24 from the source at 1.0.
    """
    for far, across in ((1.1, 0.125), (1.2, 0.025)):
        found = desk_candidate(with_desk(far=far, near=1.9), "floor")
        assert (found.status, found.blocked_by) == ("blocked", "desk")
        # square distance from the far upper corner to a line of slope 1.2 : 0.6
        assert found.shade_m == pytest.approx(across * 1.2 / np.hypot(1.2, 0.6), abs=2e-3)
        assert found.fragile == (found.shade_m < 0.05)
        # where the desk also reaches far under the leg to the ear, both legs must come out of its shade
        both = desk_candidate(with_desk(far=far, near=3.0), "floor")
        assert both.shade_m == pytest.approx((1.96 - far) * 1.2 / np.hypot(1.2, 0.6), abs=2e-3)
        assert not both.fragile
    # a desk that begins behind the leg lets it pass there, but the leg back to the ear meets it further on
    clear = desk_candidate(with_desk(far=2.3, near=3.0), "floor")
    assert (clear.status, clear.blocked_by) == ("reaches", "")
    assert np.isnan(clear.shade_m)


def test_in_an_empty_room_only_the_rims_of_the_walls_count() -> None:
    built = built_scene_of(box(5.0, 4.0, 2.6), [SOURCE], EAR)
    paths = trace_paths(built, 1)
    assert paths.margin_m[0] == np.inf
    assert (paths.margin_facet[0], paths.margin_edge[0]) == (-1, -1)
    by_name = {built.room.facets[f].name: m for f, m in zip(paths.facets[1:, 0], paths.margin_m[1:], strict=True)}
    assert by_name["floor"] == pytest.approx(POINT, abs=1e-6)
    assert by_name["left wall"] == pytest.approx(1.2, abs=1e-6)
    assert by_name["front wall"] == pytest.approx(1.2, abs=1e-6)
    assert by_name["ceiling"] == pytest.approx(POINT, abs=1e-6)


def test_the_own_box_does_not_threaten_what_leaves_it() -> None:
    """Its edges lie centimetres from every driver, but they turn and move with it."""
    record = loudspeaker(SOURCE, "left", model="two-way")
    built = built_scene_of(box(5.0, 4.0, 2.6), [record], EAR)
    paths = trace_paths(built, 1)
    assert (paths.margin_m[paths.order == 0] == np.inf).all()
    behind = built_scene_of(box(5.0, 4.0, 2.6), [record, loudspeaker((0.4, 2.0, 1.0), "far")], EAR)
    paths = trace_paths(behind, 1)
    far = (paths.loudspeaker == 1) & (paths.order == 0)
    # for another one it is an edge like any other
    assert 0.0 < paths.margin_m[far][0] < 0.2
