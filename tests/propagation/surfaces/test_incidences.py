"""Angles and distances of incidences, by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.incidence import incidences_with
from tests.built_scenes import block, box, built_scene_of, loudspeaker

SOURCE, EAR = (1.0, 1.0, 1.2), (3.0, 1.5, 1.1)


def test_three_surfaces_in_turn_have_the_angles_and_lengths_of_the_polyline() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.5),
        [loudspeaker(SOURCE, model="two-way")],
        EAR,
        furniture=[block((4.0, 4.5), (3.0, 3.5), (0.0, 0.5))],
    )
    paths = trace_paths(built, 3)
    met = incidences_with(built, paths, np.ones(len(built.room.facets), dtype=bool))
    assert len(met) == int((paths.facets >= 0).sum())
    seen = 0
    for row in range(len(paths)):
        start = built.loudspeakers[paths.loudspeaker[row]].driver_points[paths.driver[row]]
        places = np.vstack([start, paths.points[row][: paths.order[row]], EAR])
        steps = np.linalg.norm(np.diff(places, axis=0), axis=1)
        for turn in range(paths.order[row]):
            (at,) = np.flatnonzero(
                (met.path == row)
                & (met.facet == paths.facets[row, turn])
                & np.all(met.point == paths.points[row, turn], axis=1)
            )
            normal = built.room.facets[paths.facets[row, turn]].normal
            for leg in (places[turn + 1] - places[turn], places[turn + 2] - places[turn + 1]):  # in as out: a mirror
                if np.linalg.norm(leg) > 1e-6:
                    assert met.cosine[at] == pytest.approx(abs(leg @ normal) / np.linalg.norm(leg), abs=1e-6)
            assert met.before_m[at] == pytest.approx(steps[: turn + 1].sum(), abs=1e-9)
            assert met.after_m[at] == pytest.approx(steps[turn + 1 :].sum(), abs=1e-9)
            if steps[turn] > 1e-6:
                assert met.arriving[at] == pytest.approx((places[turn + 1] - places[turn]) / steps[turn], abs=1e-6)
            seen += 1
    assert seen == len(met)


def test_in_a_corner_the_second_surface_is_met_by_the_mirrored_leg() -> None:
    """Source and ear on a slant through the corner of two walls: both points coincide."""
    built = built_scene_of(box(5.0, 4.0, 2.5), [(1.0, 1.0, 1.2)], (2.0, 2.0, 1.2))
    paths = trace_paths(built, 2)
    met = incidences_with(built, paths, np.ones(len(built.room.facets), dtype=bool))
    steps = np.linalg.norm(paths.points[:, 1] - paths.points[:, 0], axis=1)
    (row,) = np.flatnonzero(steps < 1e-9)
    assert met.cosine[met.path == row] == pytest.approx([np.sqrt(0.5)] * 2)


def test_an_edge_between_two_surfaces_is_no_meeting_but_ends_a_leg() -> None:
    built = built_scene_of(box(5.0, 4.0, 2.5), [SOURCE], EAR)
    paths = trace_paths(built, 2)
    row = int(np.flatnonzero(paths.order == 2)[0])
    facets, points = paths.facets.copy(), paths.points.copy()
    corner = np.array([2.0, 2.0, 2.0])
    facets[row, 0], points[row, 0] = -2, corner
    changed = replace(paths, facets=facets, points=points)
    met = incidences_with(built, changed, np.ones(len(built.room.facets), dtype=bool))
    (at,) = np.flatnonzero(met.path == row)
    leg = points[row, 1] - corner
    assert met.arriving[at] == pytest.approx(leg / np.linalg.norm(leg))


def test_only_the_wanted_facets_are_met_and_some_can_be_chosen() -> None:
    built = built_scene_of(box(5.0, 4.0, 2.5), [SOURCE], EAR)
    paths = trace_paths(built, 2)
    floor = built.room.facet_numbers("floor")[0]
    met = incidences_with(built, paths, np.arange(len(built.room.facets)) == floor)
    assert set(met.facet.tolist()) == {floor}
    assert len(met) == int((paths.facets == floor).sum())
    assert met.chosen(slice(1, 3)).before_m.tolist() == met.before_m[1:3].tolist()
