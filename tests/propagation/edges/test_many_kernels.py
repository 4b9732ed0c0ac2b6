"""Many edges in one call, against each by itself."""

from __future__ import annotations

import numpy as np

from sim.propagation.edges.bare import bare_edges, images
from sim.propagation.edges.edge_kernels import cylinder, edge_parts
from sim.propagation.edges.leg_kernels import clear_stretches
from sim.propagation.edges.many_kernels import parts_of_edges, seen_stretches
from sim.propagation.edges.plates import octaves
from sim.propagation.edges.wedges import KnownWedges, wedge_of
from sim.propagation.mirrors.beams import facet_tuple
from tests.built_scenes import block, box, built_scene_of, desk

SOURCE, EAR = np.array([1.0, 1.2, 1.1]), np.array([2.6, 2.0, 1.2])
BUILT = built_scene_of(
    box(5.0, 4.0, 2.6),
    [tuple(SOURCE)],
    tuple(EAR),
    furniture=[desk((1.3, 2.0), (1.1, 2.8), 0.74), block((1.5, 1.6), (1.6, 2.2), (0.8, 1.15), name="screen")],
)
KNOWN = KnownWedges({int(e): wedge_of(BUILT.room, int(e)) for e in bare_edges(BUILT.room)})


def test_what_is_seen_of_each_is_what_is_seen_of_it_alone() -> None:
    room = BUILT.room
    floor = room.facet_numbers("floor")[0]
    hidden = partly = 0
    for before in ((), (floor,)):
        source_images, ear_images = images(room, SOURCE, before), images(room, EAR, ())
        looks = (source_images, np.array(before, dtype=np.int64), ear_images, np.array([], dtype=np.int64), 32)
        planes = room.arrays.plane[room.edges.facets[KNOWN.numbers]]
        found, counts = seen_stretches(KNOWN.arrays, planes, -1, looks, facet_tuple(room), room.ray_arrays)
        for row, wedge in enumerate(KNOWN.values()):
            behind = max(cylinder(end[-1], *wedge[:4])[1] for end in (source_images, ear_images)) > wedge[5]
            edge = np.stack([wedge[0], wedge[0] + wedge[4] * wedge[1]])
            alone = clear_stretches(SOURCE, EAR, edge, planes[row], -1, looks, facet_tuple(room), room.ray_arrays)
            expected = np.zeros((0, 2)) if behind else alone
            np.testing.assert_array_equal(found[row, : counts[row]], expected)
            hidden += len(expected) == 0
            partly += len(expected) == 1 and np.ptp(expected) < 0.99
    assert hidden > 0 and partly > 0


def test_what_each_sends_is_what_it_sends_alone() -> None:
    rng = np.random.default_rng(5)
    wavenumbers = np.geomspace(0.5, 150.0, 70)
    drives = rng.normal(size=(len(KNOWN), 17, 70)) + 1j * rng.normal(size=(len(KNOWN), 17, 70))
    stretches = np.array([[0.1, 0.3], [0.35, 0.9], [0.0, 1.0]])
    edge_of = np.array([2, 2, 4])
    metres = stretches * KNOWN.arrays[4][edge_of][:, None]
    groups = octaves(wavenumbers)
    order = (np.concatenate(groups), np.cumsum([0, *(len(group) for group in groups)]))
    parts = parts_of_edges(SOURCE, EAR, KNOWN.arrays, metres, edge_of, order, wavenumbers, drives)
    expected = np.zeros_like(parts)
    wedges = list(KNOWN.values())
    for group in groups:
        for (low, high), e in zip(metres, edge_of, strict=True):
            drive = np.ascontiguousarray(drives[e][:, group])
            expected[e][:, group] += edge_parts(SOURCE, EAR, wedges[e], low, high, wavenumbers[group], drive)
    np.testing.assert_array_equal(parts, expected)
    assert parts[2].any() and parts[4].any() and not parts[0].any()
