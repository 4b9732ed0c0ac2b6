"""The table of paths and the survey as records: who, where, which way, and what is left out."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.mirrors.beams import mirror_limits
from sim.propagation.mirrors.image_sources import edge_tuple, first_mirrors, survey_first_order, trace_paths
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker
from tests.naive import mirror_paths

ROOM = box(5.0, 4.0, 2.6)
WINDOW = {"name": "window", "kind": "window", "surface": "left wall", "from_front": [1.0, 2.0], "up": [0.9, 2.0]}


def test_rows_run_over_loudspeakers_drivers_and_listeners() -> None:
    seat = {"second_seat": {"name": "sofa", "ear": {"from_front": 4.0, "from_left": 2.0, "up": 1.1}}}
    built = built_scene_of(
        ROOM,
        [loudspeaker((1.0, 1.2, 1.2), "left", model="two-way"), loudspeaker((1.0, 2.8, 1.2), "right", model="two-way")],
        (2.5, 2.0, 1.2),
        listener=seat,
    )
    paths = trace_paths(built, 2)
    direct = np.flatnonzero(paths.order == 0)
    assert list(zip(paths.loudspeaker[direct], paths.driver[direct], paths.listener[direct], strict=True)) == [
        (s, d, place) for s in range(2) for d in range(2) for place in range(2)
    ]
    for row in direct:
        source = built.loudspeakers[paths.loudspeaker[row]].driver_points[paths.driver[row]]
        ear = built.ears[paths.listener[row]]
        assert paths.length_m[row] == pytest.approx(np.linalg.norm(ear - source))
        assert paths.departure[row] == pytest.approx(-paths.arrival[row])
    assert (paths.facets[paths.order == 1, 1] == -1).all()
    assert np.isnan(paths.points[paths.order == 1, 1]).all()
    with pytest.raises(ValueError, match="read-only"):
        paths.length_m[0] = 1.0
    assert len(paths) == len(paths.order)


def test_direct_sound_is_listed_even_where_something_hides_it() -> None:
    built = built_scene_of(
        ROOM, [(1.0, 2.0, 1.2)], (3.0, 2.0, 1.2), furniture=[block((1.9, 2.1), (1.5, 2.5), (0.9, 1.5))]
    )
    paths = trace_paths(built, 1)
    assert paths.blocked.tolist() == [True] + [False] * (len(paths) - 1)
    assert paths.length_m[0] == pytest.approx(2.0)


def test_a_point_exactly_on_the_border_of_window_and_wall_is_one_path() -> None:
    """Source and ear 1.0 m from either side of the window's edge at 2.0: the point falls on it."""
    for edge in (2.0, 1.9999994, 1.2345675):
        window = {**WINDOW, "from_front": [0.5, edge]}
        built = built_scene_of(ROOM, [(edge - 0.4, 1.0, 1.2)], (edge + 0.4, 1.0, 1.2), openings=[window])
        paths = trace_paths(built, 1)
        side = [row for row in range(1, len(paths)) if abs(paths.points[row, 0, 1]) < 1e-9]
        assert len(side) == 1, edge
        # the border between wall and glass is no rim: the path is safe
        assert paths.margin_m[side[0]] > 0.3


def test_a_path_through_the_very_edge_of_two_walls_is_one_path() -> None:
    """In line with the corner both orders of the two walls give one path, whose two points fall together."""
    for corner in (4.0, 3.7654325):
        built = built_scene_of(box(5.0, corner, 2.6), [(4.0, corner - 1.0, 1.2)], (3.0, corner - 2.0, 1.3))
        paths = trace_paths(built, 2)
        rear, right = built.room.facet_numbers("rear wall")[0], built.room.facet_numbers("right wall")[0]
        rows = [row for row in range(len(paths)) if set(paths.facets[row]) == {rear, right}]
        assert len(rows) == 1
        assert paths.points[rows[0]] == pytest.approx(np.array([[5.0, corner, 1.2 + 0.1 / 3.0]] * 2), abs=1e-5)


def test_what_a_loudspeaker_is_built_into_and_its_own_box_do_not_mirror_first() -> None:
    made = loudspeaker((0.02, 1.5, 1.3), "left", model="two-way", standing="built in", built_into=["front wall"])
    built = built_scene_of(ROOM, [made, loudspeaker((1.0, 2.8, 1.3), "right", model="two-way")], (2.5, 2.0, 1.2))
    front = built.room.facet_numbers("front wall")[0]
    own = [f for f, facet in enumerate(built.room.facets) if facet.owner == "right loudspeaker"]
    assert not first_mirrors(built.room, built.loudspeakers[0])[front]
    assert first_mirrors(built.room, built.loudspeakers[1])[front]
    assert not first_mirrors(built.room, built.loudspeakers[1])[own].any()
    assert len(own) == 6
    paths = trace_paths(built, 2)
    left = paths.loudspeaker == 0
    assert not (paths.facets[left, 0] == front).any()
    assert (paths.facets[left, 1] == front).any()  # as the last of two it may
    found = [one for one in survey_first_order(built) if one.surface == "front wall" and one.loudspeaker == "left"]
    assert {one.status for one in found} == {"own"}
    assert not any(one.owner == f"{one.loudspeaker} loudspeaker" for one in survey_first_order(built))


def test_mirror_limits_are_true_for_every_pair_a_path_uses() -> None:
    built = built_scene_of(ROOM, [(1.0, 1.5, 1.2)], (3.0, 2.2, 1.25), furniture=[desk((1.2, 2.0), (1.0, 3.0), 0.74)])
    faces = mirror_limits(built.room)
    assert faces.tolist() == faces.T.tolist()
    names = [facet.name for facet in built.room.facets]
    index = {name: names.index(name) for name in names}
    assert faces[index["floor"], index["ceiling"]]
    assert not faces[index["floor"], index["floor"]]
    assert not faces[index["desk top"], index["desk underside"]]
    assert not faces[index["desk top"], index["floor"]]
    assert faces[index["desk underside"], index["floor"]]
    slow = list(mirror_paths(built.room, np.array([1.0, 1.5, 1.2]), np.array([3.0, 2.2, 1.25]), 2))
    used = [path.facets for path in slow if len(path.facets) == 2]
    assert used
    assert all(faces[pair] for pair in used)


def test_a_box_of_order_six() -> None:
    """One direct path and 4 k^2 + 2 of k mirrors."""
    built = built_scene_of(box(5.0, 4.0, 3.0), [(1.0, 1.5, 1.2)], (3.5, 2.25, 1.3))
    assert len(trace_paths(built, 6)) == 1 + sum(4 * k**2 + 2 for k in range(1, 7))


def test_it_does_not_matter_which_end_is_mirrored_more_often() -> None:
    """With more sources than ears the ears' beams are the longer ones, and the other way round."""
    seat = {"second_seat": {"name": "sofa", "ear": {"from_front": 4.0, "from_left": 2.0, "up": 1.1}}}
    furniture = [desk((1.2, 2.0), (1.0, 3.0), 0.74)]
    sources = [(1.0, 1.5, 1.2), (1.0, 2.5, 1.2), (0.6, 2.0, 1.0)]
    many = trace_paths(built_scene_of(ROOM, sources, (3.0, 2.2, 1.25), furniture=furniture, listener=seat), 3)
    one = trace_paths(built_scene_of(ROOM, sources[:1], (3.0, 2.2, 1.25), furniture=furniture, listener=seat), 3)
    same = many.loudspeaker == 0
    assert many.facets[same].tolist() == one.facets.tolist()
    assert np.array_equal(many.points[same], one.points, equal_nan=True)


def test_edges_that_may_hide_a_path() -> None:
    built = built_scene_of(ROOM, [(1.0, 1.5, 1.2)], (3.0, 2.2, 1.25), furniture=[desk((1.2, 2.0), (1.0, 3.0), 0.74)])
    ends, planes, owner = edge_tuple(built.room)
    assert ends.shape == (12, 2, 3) and planes.shape == (12, 2)
    assert set(owner) == {built.room.owner_number("desk")}
    empty = edge_tuple(built_scene_of(ROOM, [(1.0, 1.5, 1.2)], (3.0, 2.2, 1.25)).room)
    assert [each.shape for each in empty] == [(0, 2, 3), (0, 2), (0,)]


def test_survey_of_the_second_seat() -> None:
    seat = {"second_seat": {"name": "sofa", "ear": {"from_front": 4.0, "from_left": 2.0, "up": 1.0}}}
    built = built_scene_of(ROOM, [(1.0, 2.0, 1.0)], (2.5, 2.0, 1.0), listener=seat)
    floor = {one.listener: one.point[0] for one in survey_first_order(built) if one.surface == "floor"}
    assert floor == pytest.approx({0: 1.75, 1: 2.5})


def test_the_own_box_hides_the_wall_behind_it_on_the_way_back_only() -> None:
    """Sound starts through the own box (the directivity knows it); coming back from the wall it meets it."""
    for across, status in ((2.0, "blocked"), (3.9, "reaches")):
        box_ahead = loudspeaker((1.0, 2.0, 1.2), "left", model="coaxial", toe_in_deg=0.0)
        built = built_scene_of(ROOM, [box_ahead], (3.0, across, 1.2))
        found = [one for one in survey_first_order(built) if one.surface == "front wall"]
        assert {one.status for one in found} == {status}
        assert {one.blocked_by for one in found} == {"left loudspeaker" if status == "blocked" else ""}
        front = built.room.facet_numbers("front wall")[0]
        assert bool((trace_paths(built, 1).facets[:, 0] == front).any()) == (status == "reaches")
