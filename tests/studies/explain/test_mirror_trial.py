"""What ends a mirrored way, against scenes that are really changed and traced again."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.placement.built_scene import build_scene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.studies.explain.edge_trial import changed_blueprint
from sim.studies.explain.mirror_trial import (
    FINE_DEG,
    STEP_M,
    Remedy,
    free_distance_m,
    head_points,
    mirror_points,
    remedies_for,
)
from tests.built_scenes import block, blueprint_of, box, desk
from tests.explained import POINT, number_of, traced


def desk_remedies() -> tuple[Remedy, ...]:
    results = traced(POINT)
    built = results.built
    sequence = [built.room.facet_numbers("desk top")[0]]
    (piece,) = results.scene.blueprint.furniture
    return remedies_for(built, built.loudspeakers[0].driver_points, 0, sequence, 0, piece)


def still_mirrors(kind: str, direction: str, amount: float) -> bool:
    """Whether a scene with the desk really changed has a path off its top."""
    blueprint = changed_blueprint(traced(POINT).scene.blueprint, "desk", kind, direction, amount)
    assert blueprint is not None
    built = build_scene(blueprint, Path())
    paths = trace_paths(built, 1)
    return any(built.room.facets[f].name == "desk top" for f in paths.facets[:, 0] if f >= 0)


def test_mirror_points_are_those_of_the_traced_paths() -> None:
    results = traced(POINT)
    room, paths = results.built.room, results.paths
    for row in range(len(paths)):
        order = int(paths.order[row])
        if not order:
            continue
        planes = [(room.facets[f].normal, room.facets[f].offset_m) for f in paths.facets[row, :order]]
        found = mirror_points(results.built.loudspeakers[0].driver_points[0], results.built.ears[0], planes)
        assert found == pytest.approx(paths.points[row, :order], abs=1e-9)


def test_a_plane_behind_the_ear_mirrors_nothing() -> None:
    plane = (np.array([0.0, 0.0, 1.0]), 1.15)
    assert mirror_points(np.array([0.0, 0.0, 1.2]), np.array([1.0, 0.0, 1.0]), [plane]) is None


def test_cut_by_hand() -> None:
    """Heights 0.4 and 0.5 m over the top: the point lies 4/9 of the way from 0.5 to 1.9 m, 0.278 m short of 1.4 m."""
    cut = next(
        way for way in desk_remedies() if way.kind == "cut" and way.direction in ("listener-side edge", "far edge")
    )
    point = 0.5 + 1.4 * 0.4 / 0.9
    assert min(1.4 - point, point - 0.8) + STEP_M == pytest.approx(cut.amount, abs=1e-6)
    assert cut.limit == pytest.approx(0.3)
    assert cut.works and cut.amount_head > cut.amount


@pytest.mark.parametrize("kind", ["cut", "move", "tilt"])
def test_the_traced_way_ends_there_and_not_before(kind: str) -> None:
    ways = [way for way in desk_remedies() if way.kind == kind and way.works]
    assert ways
    step = FINE_DEG if kind == "tilt" else STEP_M
    for way in ways:
        if way.kind == "move" and way.direction in ("up", "down"):
            continue  # a desk is not told by a height of its own that can be moved with its foot
        assert not still_mirrors(kind, way.direction, way.amount)
        assert still_mirrors(kind, way.direction, way.amount - 1.5 * step)


def test_a_piece_goes_no_further_than_there_is_room() -> None:
    built = traced(POINT).built
    assert free_distance_m(built, "desk", 0, np.array([0.0, -1.0, 0.0])) == pytest.approx(0.5, abs=1e-9)
    assert free_distance_m(built, "desk", 0, np.array([0.0, 0.0, -1.0])) == pytest.approx(0.5, abs=1e-9)
    # the listener sits 0.5 m behind the edge: the desk may come up to there
    assert free_distance_m(built, "desk", 0, np.array([1.0, 0.0, 0.0])) == pytest.approx(0.5, abs=0.011)


def test_head_points_are_the_ear_and_eight_corners() -> None:
    built = traced(POINT).built
    points = head_points(built, 0)
    assert points.shape == (9, 3)
    assert points[0] == pytest.approx(built.ears[0])
    assert np.ptp(points, axis=0) == pytest.approx([0.2, 0.2, 0.1])


def test_number_of_finds_the_way() -> None:
    assert number_of(traced(POINT), "desk top") >= 1


@settings(max_examples=25, deadline=None)
@given(
    st.floats(-160.0, 160.0),
    st.floats(-12.0, 12.0),
    st.floats(0.6, 1.3),
    st.floats(0.8, 2.0),
    st.floats(0.55, 0.95),
)
def test_a_tilt_that_is_named_ends_the_reflection_in_the_scene(
    turn: float, tilt: float, depth: float, width: float, top: float
) -> None:
    """Desks of any size, tilt and turn, traced anew: gone at the named tilt, not yet two tenths of a degree before.

    A source and an ear over the desk's middle, so that there is a reflection to begin with.
    """
    table = desk(
        (2.5 - 0.5 * depth, 2.5 + 0.5 * depth),
        (2.5 - 0.5 * width, 2.5 + 0.5 * width),
        top,
        tilt_deg=tilt,
        turn_deg=turn,
        thickness=0.02,
    )
    source, ear = (2.1, 2.3, 1.65), (2.9, 2.65, 1.6)

    def reflects(more: float) -> bool:
        changed = changed_blueprint(blueprint, "desk", "tilt", "far edge up", more)
        assert changed is not None
        built = build_scene(changed, Path())
        paths = trace_paths(built, 1)
        return any(built.room.facets[f].name == "desk top" for f in paths.facets[:, 0] if f >= 0)

    blueprint = blueprint_of(box(5.0, 5.0, 3.4), [source], ear, furniture=[table])
    assume(reflects(0.0))
    built = build_scene(blueprint, Path())
    sequence = [built.room.facet_numbers("desk top")[0]]
    ways = remedies_for(built, built.loudspeakers[0].driver_points, 0, sequence, 0, blueprint.furniture[0])
    for way in ways:
        if way.kind == "tilt" and way.works:
            sense = 1.0 if way.direction == "far edge up" else -1.0
            assert not reflects(sense * way.amount)
            assert reflects(sense * (way.amount - 2.0 * FINE_DEG))


def test_only_desks_are_tilted() -> None:
    """A scene cannot tilt a block, so nobody is told to."""
    shelf = block((1.5, 2.2), (1.0, 3.0), (0.6, 0.7), kind="shelf")
    blueprint = blueprint_of(box(5.0, 4.0, 2.6), [(1.0, 1.5, 1.2)], (2.8, 2.0, 1.2), furniture=[shelf])
    built = build_scene(blueprint, Path())
    sequence = [built.room.facet_numbers("shelf top")[0]]
    ways = remedies_for(built, built.loudspeakers[0].driver_points, 0, sequence, 0, blueprint.furniture[0])
    assert {way.kind for way in ways} == {"cut", "move"}
