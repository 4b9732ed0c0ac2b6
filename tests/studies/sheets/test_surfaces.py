from __future__ import annotations

import numpy as np
import pytest

from sim.studies.sheets.surfaces import Surface, plan_view, surfaces_of
from tests.studies.sheets.treated_rooms import lopsided, sloping


def named(name: str) -> Surface:
    return next(surface for surface in surfaces_of(lopsided().built.room) if surface.name == name)


def test_walls_come_in_order_then_slopes_then_ceiling() -> None:
    assert [s.name for s in surfaces_of(lopsided().built.room)] == [
        "front wall",
        "left wall",
        "right wall",
        "rear wall",
        "ceiling",
    ]
    kinds = [s.kind for s in surfaces_of(sloping().built.room)]
    assert kinds == ["wall"] * 4 + ["slope", "ceiling"]


@pytest.mark.parametrize(
    ("name", "point", "flat"),
    [
        # standing in the room and facing the wall: what is at the right hand is right on the paper
        ("left wall", (0.70, 0.0, 0.61), (5.20 - 0.70, 0.61)),
        ("right wall", (0.70, 4.0, 0.61), (0.70, 0.61)),
        ("front wall", (0.0, 0.30, 0.40), (0.30, 0.40)),
        ("rear wall", (5.2, 0.30, 0.40), (4.00 - 0.30, 0.40)),
        # in a mirror on the floor left stays left, and the front is at the top
        ("ceiling", (0.90, 0.50, 2.5), (0.50, 5.20 - 0.90)),
    ],
)
def test_points_lie_where_one_sees_them(name: str, point: tuple[float, ...], flat: tuple[float, float]) -> None:
    assert named(name).view.flatten(np.array(point)) == pytest.approx(flat)


def test_walls_and_slopes_are_seen_from_the_side_of_the_air() -> None:
    for room in (lopsided().built.room, sloping().built.room):
        for surface in surfaces_of(room):
            sight = -surface.normal if surface.kind == "ceiling" else surface.normal
            assert surface.view.toward == pytest.approx(sight, abs=1e-9)


def test_a_slope_keeps_its_true_length() -> None:
    slope = next(s for s in surfaces_of(sloping().built.room) if s.kind == "slope")
    assert slope.high - slope.low == pytest.approx([5.40, 1.55 * np.sqrt(2.0)], abs=1e-6)
    low = slope.view.flatten(np.array([[0.92, 0.60, 1.65], [0.92, 1.40, 2.45]]))
    assert low[1, 1] - low[0, 1] == pytest.approx(0.8 * np.sqrt(2.0))


def test_openings_do_not_cut_a_wall() -> None:
    (piece,) = named("left wall").pieces
    assert len(piece.rings) == 1
    assert len(piece.rings[0]) == 4


def test_floor_and_furniture_are_drawn_only_when_a_panel_hangs_there() -> None:
    room = lopsided().built.room
    floor = next(facet.plane for facet in room.facets if facet.name == "floor")
    side = next(facet for facet in room.facets if facet.owner == "cupboard" and facet.normal[0] < -0.9)
    found = {surface.name: surface for surface in surfaces_of(room, {floor, side.plane})}
    assert found["floor"].kind == "floor"
    assert found[side.name].pieces[0].ends.right in ("its left edge", "its right edge")
    assert found[side.name].kind == "wall"


def test_the_plan_has_the_front_at_the_top() -> None:
    view = plan_view(lopsided().built.room)
    assert view.flatten(np.array([0.0, 0.0, 1.0])) == pytest.approx([0.0, 5.2])
    assert view.flatten(np.array([5.2, 4.0, 0.0])) == pytest.approx([4.0, 0.0])
