"""Boxes, screens and built-in loudspeakers with sound bent round them: shade, reciprocity, and no edge of its own."""

from __future__ import annotations

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.plates import plate_total
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response, smoothed_db
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

EAR = (11.0, 10.1, 11.2)


def dead(source: object, ear: tuple[float, float, float] = EAR, **more: object) -> BuiltScene:
    """A room that sends nothing back but what stands in it."""
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], ear, **more)


def total_over_direct(built: BuiltScene, order: int = 1) -> tuple[np.ndarray, np.ndarray]:
    response = ear_response(built, trace_paths(built, order), trace_edges(built, 2))
    return response.frequencies_hz, response.total[0, 0] / response.direct[0, 0]


def test_behind_a_screen_the_sound_is_that_of_the_plate() -> None:
    """A panel 0.6 m wide and 0.4 m high, 40 mm thick, wholly in the line of sight; chains of two and three edges."""
    source = (10.0, 10.0, 11.1)
    built = dead(source, furniture=[block((10.5, 10.54), (9.7, 10.3), (10.95, 11.35))])
    frequencies, total = total_over_direct(built)
    assert trace_paths(built, 1).blocked[0]
    chosen = np.searchsorted(frequencies, [250, 500, 1000, 2000, 4000])
    front = np.array([[10.54, 9.7, 10.95], [10.54, 10.3, 10.95], [10.54, 10.3, 11.35], [10.54, 9.7, 11.35]])
    expected = plate_total(
        None, source, EAR, frequencies[chosen], built.air.speed_of_sound_m_s, 3, corners=front, thickness_m=0.04
    )
    np.testing.assert_allclose(np.abs(total[chosen]), np.abs(expected), atol=0.03)
    assert 20.0 * np.log10(np.abs(total[chosen[-1]])) < -6.0


def test_the_far_loudspeaker_is_shaded_by_the_near_one() -> None:
    """Straight behind a box of 0.25 x 0.40 x 0.30 m treble is lost, and bass comes round it."""
    near = loudspeaker((10.5, 10.05, 11.15), "near", model="shade", toe_in_deg=0.0)
    model = {"shade": {"kind": "point", "width": 0.25, "height": 0.40, "depth": 0.30}}
    built = dead(loudspeaker((9.8, 10.02, 11.12), "far"), furniture=[], models=model)
    both = built_scene_of(
        box(20.0, 20.0, 20.0, "open"), [loudspeaker((9.8, 10.02, 11.12), "far"), near], EAR, models=model
    )
    frequencies, alone = total_over_direct(built)
    response = ear_response(both, trace_paths(both, 1), trace_edges(both, 2))
    shaded = response.total[0, 0] / response.direct[0, 0]
    assert trace_paths(both, 1).blocked[0]
    np.testing.assert_allclose(np.abs(alone), 1.0, atol=1e-9)
    level = smoothed_db(frequencies, shaded)
    bass, treble = level[np.searchsorted(frequencies, 150)], level[np.searchsorted(frequencies, 6000)]
    assert bass > -4.0
    assert treble < -6.0  # deeper than on the very border of a half plane's shadow


def test_a_loudspeaker_flush_in_a_wall_has_no_edge_and_no_wall_path() -> None:
    """Common practice, no source: the total is that of the direct sound alone."""
    record = loudspeaker(
        (10.3, 10.0, 11.2), "main", standing="built in", built_into=["baffle wall listener side"], tilt_deg=3.0
    )
    wall = block((10.0, 10.29), (8.0, 12.0), (10.0, 12.5), name="baffle wall")
    _, total = total_over_direct(dead(record, furniture=[wall]))
    np.testing.assert_allclose(np.abs(total), 1.0, atol=1e-9)


@pytest.mark.parametrize("order", [1, 2])
def test_source_and_ear_may_be_exchanged_with_edges_and_all(order: int) -> None:
    """Reciprocity of the whole furnished room, complex, for sources that radiate evenly."""
    a, b = (0.6, 1.1, 1.15), (1.7, 1.75, 1.2)
    furniture = [desk((0.8, 1.4), (0.9, 2.5), 0.74), block((0.95, 0.99), (1.35, 1.95), (0.85, 1.2), name="screen")]
    totals = []
    for source, ear in ((a, b), (b, a)):
        built = built_scene_of(box(4.2, 3.4, 2.4), [source], ear, furniture=furniture)
        response = ear_response(built, trace_paths(built, order), trace_edges(built, order))
        totals.append(response.total[0, 0])
        chosen = (response.frequencies_hz > 80.0) & (response.frequencies_hz < 4000.0)
    difference = np.abs(totals[0] - totals[1])[chosen]
    assert difference.max() < 0.02 * np.abs(totals[0][chosen]).max()
