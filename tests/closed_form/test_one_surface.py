"""One hard surface: lengths, delays, levels and notches that a pencil gives.

The first row is a 3-4-5 triangle; all are worked from d_direct = sqrt(D^2 + (hs - he)^2) and
d_mirrored = sqrt(D^2 + (hs + he - 2 hp)^2) at 343.2 m/s.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import list_arrivals
from sim.responses.frequency import ear_response
from tests.built_scenes import box, built_scene_of, desk

SPEED = 343.2
FIRST = 2.0

BOUNCES = [
    (1.20, 1.20, 1.2, 0.75, 1.2000, 1.5000, 0.8741, -1.938, 572.0, 0.6000, 53.130),
    (1.20, 1.20, 1.0, 0.75, 1.0000, 1.3454, 1.0063, -2.577, 496.9, 0.5000, 48.013),
    (1.20, 1.20, 1.5, 0.75, 1.5000, 1.7493, 0.7264, -1.335, 688.4, 0.7500, 59.036),
    (1.05, 1.20, 1.0, 0.75, 1.0112, 1.2500, 0.6958, -1.842, 718.6, 0.4000, 53.130),
    (1.40, 1.20, 1.4, 0.75, 1.4142, 1.7804, 1.0671, -2.000, 468.6, 0.8273, 51.843),
    (1.20, 1.20, 1.5, 0.0, 1.5000, 2.8302, 3.8759, -5.515, 129.0, 0.7500, 32.005),
    (1.20, 1.20, 2.5, 0.0, 2.5000, 3.4655, 2.8134, -2.837, 177.7, 1.2500, 46.169),
]
"""Source, ear, distance, plane height; then direct, mirrored, delay, level, first notch, where it hits, incidence."""

TILTED = [
    (0.0, (0.0, 0.3), (0.6, 0.75), 1.50000),
    (3.0, (0.05032, 0.23975), (0.66533, 0.75342), 1.49794),
    (5.0, (0.08726, 0.20265), (0.70853, 0.75950), 1.49429),
    (10.0, (0.19009, 0.12193), (0.81376, 0.78769), 1.47721),
]
"""Tilt toward the ear's end, image, hit and length; source at 0 and ear at 1.2, both 1.2 up, plane through
(0.6, 0.75)."""

COMB = [
    (-1.0, 5.535, -19.271),
    (-2.0, 5.078, -13.737),
    (-3.0, 4.649, -10.691),
    (-6.0, 3.529, -6.041),
    (-10.0, 2.387, -3.302),
    (-12.0, 1.946, -2.513),
    (-15.0, 1.422, -1.701),
    (-20.0, 0.828, -0.915),
    (-25.0, 0.475, -0.503),
    (-30.0, 0.270, -0.279),
]
"""Level of one reflection, and peak and dip of the ripple it makes: 20 lg(1 + r), 20 lg(1 - r)."""


def over_a_plane(source_up: float, ear_up: float, distance: float, plane_up: float) -> tuple[BuiltScene, str]:
    """A room that swallows all but the floor, or all but a wide desk."""
    surfaces = dict.fromkeys(("walls", "ceiling", "floor"), "open")
    furniture = [desk((1.0, 7.0), (1.0, 7.0), plane_up)] if plane_up else []
    if not furniture:
        surfaces["floor"] = "hard"
    room = box(8.0, 8.0, 4.0, surfaces)
    built = built_scene_of(room, [(FIRST, 4.0, source_up)], (FIRST + distance, 4.0, ear_up), furniture=furniture)
    return built, "desk top" if plane_up else "floor"


@pytest.mark.parametrize("case", BOUNCES)
def test_bounce(case: tuple[float, ...]) -> None:
    source, ear, distance, plane, direct, mirrored, delay, level, notch, hit, incidence = case
    built, surface = over_a_plane(source, ear, distance, plane)
    (found,) = [one for one in survey_first_order(built) if one.surface == surface]
    assert found.status == "reaches"
    assert found.delay_ms == pytest.approx(delay, abs=6e-5)
    assert found.level_db == pytest.approx(level, abs=6e-4)
    assert found.point == pytest.approx([FIRST + hit, 4.0, plane], abs=6e-5)

    paths = trace_paths(built, 1)
    (row,) = [r for r in range(len(paths)) if built.room.facets[paths.facets[r, 0]].name == surface and paths.order[r]]
    assert paths.length_m[0] == pytest.approx(direct, abs=6e-5)
    assert paths.length_m[row] == pytest.approx(mirrored, abs=6e-5)
    assert paths.length_m[row] == pytest.approx(np.hypot(distance, source + ear - 2.0 * plane), rel=1e-12)
    assert np.degrees(np.arccos(-paths.departure[row, 2])) == pytest.approx(incidence, abs=6e-4)
    assert paths.arrival[row, 2] == pytest.approx(paths.departure[row, 2], rel=1e-12)

    bands = octave_bands()
    (arrival,) = [a for a in list_arrivals(built, paths, bands, Target()) if a.surfaces == (surface,)]
    assert arrival.notches_hz == pytest.approx([notch, 3 * notch, 5 * notch], rel=1e-3)
    assert arrival.main.delay_ms == pytest.approx(delay, abs=6e-5)
    assert arrival.main.flight_time_ms == pytest.approx(1000.0 * mirrored / SPEED, abs=2e-4)
    # spreading alone in the octaves where air counts for nothing: 1.3 m at 1.3 dB/km
    assert arrival.level_db[:3] == pytest.approx(level, abs=2.3e-3)


def test_the_three_four_five_triangle_is_exact() -> None:
    built, _ = over_a_plane(1.20, 1.20, 1.2, 0.75)
    paths = trace_paths(built, 1)
    assert paths.length_m[0] == pytest.approx(1.2, rel=1e-12)
    assert paths.length_m[paths.order == 1].min() == pytest.approx(1.5, rel=1e-12)


@pytest.mark.parametrize(("tilt_deg", "image", "hit", "length_m"), TILTED)
def test_tilted_desk(tilt_deg: float, image: tuple[float, float], hit: tuple[float, float], length_m: float) -> None:
    # a scene's tilt raises the far edge; here the far end lies beyond the ear, so the desk is turned round
    near, far = 1.5, 4.5
    middle = 0.5 * (near + far)
    rise = np.tan(np.radians(tilt_deg))
    lower_edge = 0.75 + (near - (FIRST + 0.6)) * rise
    furniture = [desk((near, far), (2.0, 6.0), lower_edge, tilt_deg=tilt_deg, turn_deg=180.0, thickness=0.02)]
    room = box(8.0, 8.0, 4.0, "open")
    built = built_scene_of(room, [(FIRST, 4.0, 1.2)], (FIRST + 1.2, 4.0, 1.2), furniture=furniture)
    assert middle == 3.0
    (found,) = [one for one in survey_first_order(built) if one.surface == "desk top"]
    assert found.status == "reaches"
    assert found.point == pytest.approx([FIRST + hit[0], 4.0, hit[1]], abs=6e-6)
    paths = trace_paths(built, 1)
    row = int(np.flatnonzero((paths.order == 1) & (paths.facets[:, 0] == found.facet))[0])
    assert paths.length_m[row] == pytest.approx(length_m, abs=6e-6)
    seen = built.ears[0] + paths.length_m[row] * paths.arrival[row]
    assert seen == pytest.approx([FIRST + image[0], 4.0, image[1]], abs=6e-6)


@pytest.mark.parametrize(("level_db", "peak_db", "dip_db"), COMB)
def test_ripple_of_two_paths(level_db: float, peak_db: float, dip_db: float) -> None:
    """Source and ear 0.6 m above a hard floor, as far apart as makes the reflection just as weak as the row says."""
    longer = 10.0 ** (-level_db / 20.0)
    built, _ = over_a_plane(0.6, 0.6, 1.2 / np.sqrt(longer**2 - 1.0), 0.0)
    paths = trace_paths(built, 1)
    floor = built.room.facet_numbers("floor")[0]
    rows = np.flatnonzero((paths.order == 0) | (paths.facets[:, 0] == floor))
    assert paths.length_m[rows[1]] / paths.length_m[rows[0]] == pytest.approx(longer, rel=1e-7)
    direct, reflected = path_gains(built, paths, np.linspace(50.0, 1500.0, 50_001))[rows]
    ripple = 20.0 * np.log10(np.abs(direct + reflected) / np.abs(direct))
    # air takes up to 0.01 dB of the extra path
    assert ripple.max() == pytest.approx(peak_db, abs=2e-3)
    assert ripple.min() == pytest.approx(dip_db, abs=2e-2 if dip_db < -5.0 else 3e-3)


def test_notches_and_peaks_of_the_ear_response() -> None:
    """Notches at (2n + 1)/(2 dt), peaks at n/dt, of the first bounce row: dt = 0.3 m / 343.2 m/s."""
    built, _ = over_a_plane(1.20, 1.20, 1.2, 0.75)
    response = ear_response(built, trace_paths(built, 1))
    level = 20.0 * np.log10(np.abs(response.total[0, 0]))
    step = response.frequencies_hz[1]
    for number in range(4):
        about = np.abs(response.frequencies_hz - (2 * number + 1) * 572.0) < 300.0
        at = response.frequencies_hz[about][np.argmin(level[about])]
        assert at == pytest.approx((2 * number + 1) * 572.0, abs=step)
    strength = 1.2 / 1.5
    assert level[1:400].max() == pytest.approx(20.0 * np.log10(1.0 + strength), abs=0.01)
    # the dip is sampled every 11.7 Hz, so it may be missed by half a step
    assert level[1:400].min() == pytest.approx(20.0 * np.log10(1.0 - strength), abs=0.1)
