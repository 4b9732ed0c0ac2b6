"""The room as arrays: facets flattened, rims of surfaces that continue each other, bodies by number."""

from __future__ import annotations

import numpy as np
import pytest

from sim.geometry.patches import Patch
from sim.geometry.room import build_room
from tests.geometry.furnished import box_patches, furnished_room


def test_arrays_say_what_the_facets_say() -> None:
    room = build_room(furnished_room(np.random.default_rng(1), 3))
    arrays = room.arrays
    assert room.owners == ("room", "block 0", "block 1", "block 2")
    for number, facet in enumerate(room.facets):
        assert arrays.normal[number] == pytest.approx(facet.normal)
        assert arrays.offset[number] == facet.offset_m
        assert room.owners[arrays.owner[number]] == facet.owner
        own = arrays.border[arrays.border_start[number] : arrays.border_start[number + 1]]
        assert own == pytest.approx(facet.border)
    assert room.plane_of_triangle.tolist() == [room.facets[f].plane for f in room.facet_of_triangle]
    assert [room.owners[o] for o in room.owner_of_triangle] == [room.facets[f].owner for f in room.facet_of_triangle]


def test_numbers_of_names() -> None:
    room = build_room(furnished_room(np.random.default_rng(1), 1))
    assert room.owner_number("room") == 0
    assert room.owner_number("a loudspeaker that is only a point") == -2
    (wall,) = room.facet_numbers("room left")
    assert room.facets[wall].name == "room left"
    assert room.facet_numbers("nothing") == ()


def test_the_rim_of_wall_and_window_is_that_of_both() -> None:
    def upright(name: str, x0: float, x1: float, z0: float, z1: float) -> Patch:
        ring = np.array([[x0, 0.0, z0], [x0, 0.0, z1], [x1, 0.0, z1], [x1, 0.0, z0]])
        return Patch(name, "room", "hard", np.stack([ring[[0, 1, 2]], ring[[0, 2, 3]]]))

    around = [
        upright("wall", 0, 4, 0, 1),
        upright("wall", 0, 4, 2, 3),
        upright("wall", 0, 1, 1, 2),
        upright("wall", 2, 4, 1, 2),
    ]
    wall = Patch("wall", "room", "hard", np.concatenate([each.triangles for each in around]))
    alone = box_patches(np.array([1.0, 5.0, 0.0]), np.array([2.0, 6.0, 1.0]), "rack")
    room = build_room([wall, upright("window", 1, 2, 1, 2), *alone])
    for number, facet in enumerate(room.facets):
        rim = room.arrays.rim[room.arrays.rim_start[number] : room.arrays.rim_start[number + 1]]
        length = np.linalg.norm(rim[:, 2:] - rim[:, :2], axis=1).sum()
        if facet.owner == "rack":
            assert rim == pytest.approx(facet.border)
        else:
            # 4 m by 3 m, the window's own border is no rim
            assert length == pytest.approx(14.0)
            ends = facet.from_plane(rim[:, :2])
            assert np.ptp(ends, axis=0) == pytest.approx([4.0, 0.0, 3.0], abs=1e-9)


def test_nothing_can_be_written_to() -> None:
    room = build_room(furnished_room(np.random.default_rng(1), 1))
    for array in (room.triangles, room.facet_of_triangle, room.arrays.normal, room.arrays.rim, room.edges.ends):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
