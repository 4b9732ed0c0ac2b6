"""Surface maps: peaks at mirror points, nothing beyond the first Fresnel zone, means over all samples."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.acoustics.air import attenuation_db_per_m
from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.geometry.facets import build_facets
from sim.placement.built_scene import BuiltScene
from sim.responses.records import SurfaceMap
from sim.responses.surface_map import POINTS_PER_OCTAVE, grid_of, head_positions, placement_errors, surface_maps
from tests.built_scenes import box, built_scene_of, desk, loudspeaker
from tests.geometry.furnished import prism_patches, star_outline
from tests.naive import is_clear, mirrored, turns_about

BANDS = octave_bands(500, 8000)
STILL = {"head_box": {"depth": 0.0, "across": 0.0, "up": 0.0}}


def maps_of(built: BuiltScene, grid: float = 0.05, error: float = 0.0) -> dict[str, SurfaceMap]:
    return {each.surface: each for each in surface_maps(built, BANDS, grid, error)}


def test_head_positions_are_the_middle_and_the_corners() -> None:
    heads = head_positions(np.array([0.4, 0.2, 0.1]))
    assert heads.shape == (9, 3)
    assert heads.mean(axis=0) == pytest.approx(0.0)
    assert heads.max(axis=0) == pytest.approx([0.2, 0.1, 0.05])
    assert head_positions(np.zeros(3)).tolist() == [[0.0, 0.0, 0.0]]
    assert len(head_positions(np.array([0.3, 0.0, 0.0]))) == 3


def test_placement_errors_are_none_and_one_each_way() -> None:
    errors = placement_errors(0.03)
    assert errors.shape == (7, 3)
    assert np.linalg.norm(errors, axis=1) == pytest.approx(np.sort([0.0, *[0.03] * 6])[[1, 1, 1, 0, 1, 1, 1]])
    assert placement_errors(0.0).tolist() == [[0.0, 0.0, 0.0]]


@settings(max_examples=30)
@given(
    st.floats(0.5, 3.0),
    st.floats(0.5, 3.5),
    st.floats(0.6, 2.0),
    st.floats(2.0, 4.5),
    st.floats(0.5, 3.5),
    st.floats(0.6, 2.0),
)
def test_the_peak_lies_at_the_mirror_point(x0: float, y0: float, z0: float, x1: float, y1: float, z1: float) -> None:
    """Within half a grid diagonal, in every octave, on all six surfaces of an empty room.

    Zones are longer along the plane of incidence by 1/cosine, and so is the doubt about the nearest cell.
    """
    if np.linalg.norm([x1 - x0, y1 - y0, z1 - z0]) < 0.2:
        return
    grid = 0.05
    built = built_scene_of(box(5.0, 4.0, 2.6), [(x0, y0, z0)], (x1, y1, z1), listener=STILL)
    found = maps_of(built, grid)
    assert len(found) == 6
    for one in found.values():
        facet = built.room.facets[one.facet]
        image = mirrored(built.loudspeakers[0].axis_point, facet.normal, facet.offset_m)
        ear = built.ears[0]
        fraction = (facet.normal @ ear - facet.offset_m) / (facet.normal @ (ear - image))
        point = ear + fraction * (image - ear)
        assert one.mirror_points[0, 0] == pytest.approx(point, abs=1e-9)
        for band in range(len(BANDS)):
            peak = one.points[np.argmax(one.level_db[0, band])]
            near = np.linalg.norm(one.points - point, axis=1).min()
            # at the rim of a surface the grid may end up to one cell short of the point
            reach = max(grid / np.sqrt(2.0), near)
            go = point - built.loudspeakers[0].axis_point
            cosine = abs(float(go @ facet.normal)) / float(np.linalg.norm(go))
            assert np.linalg.norm(peak - point) <= reach / cosine + 1e-9
            along = facet.to_plane(point) - facet.to_plane(built.loudspeakers[0].axis_point)
            along = along / max(float(np.linalg.norm(along)), 1e-9)
            away = facet.to_plane(peak) - facet.to_plane(point)
            assert abs(away[1] * along[0] - away[0] * along[1]) <= reach + 1e-9
            if cosine > 0.95:
                assert np.linalg.norm(peak - point) <= 1.06 * reach


@pytest.mark.parametrize("ear", [(3.2, 2.0, 1.2), (2.8, 2.4, 1.3)])
def test_with_a_moving_head_the_peak_stays_within_a_cell(ear: tuple[float, float, float]) -> None:
    grid = 0.05
    head = {"head_box": {"depth": 0.1, "across": 0.1, "up": 0.05}}
    built = built_scene_of(box(5.0, 4.0, 2.6), [(1.2, 1.3, 1.1)], ear, listener=head)
    for one in maps_of(built, grid, 0.01).values():
        for band in range(len(BANDS)):
            peak = one.points[np.argmax(one.level_db[0, band])]
            away = built.room.facets[one.facet].to_plane(peak) - built.room.facets[one.facet].to_plane(
                one.mirror_points[0, 0]
            )
            assert np.abs(away).max() <= grid + 1e-9


@pytest.mark.parametrize(
    ("go_m", "come_m", "hertz", "across_m", "along_m"),
    [
        (0.6, 0.9, 1000, 0.3515, 0.5858),
        (0.75, 0.75, 1000, 0.3587, 0.5979),
        (0.75, 0.75, 4000, 0.1794, 0.2990),
    ],
)
def test_nothing_beyond_the_first_fresnel_zone(
    go_m: float, come_m: float, hertz: float, across_m: float, along_m: float
) -> None:
    """Half-axes sqrt(lambda d1 d2/(d1 + d2)), longer by 1/cos along the plane of incidence, at 53.13 degrees.

    Born & Wolf, Principles of Optics, on Fresnel zones.  4000 Hz nominal is 3981 Hz: 0.24 % wider.
    """
    source, ear = (1.5, 2.0, 0.6 * go_m), (1.5 + 0.8 * (go_m + come_m), 2.0, 0.6 * come_m)
    grid = 0.01
    built = built_scene_of(box(5.0, 4.0, 2.6), [source], ear, listener=STILL)
    floor = maps_of(built, grid)["floor"]
    band = BANDS.nominal_hz.tolist().index(hertz)
    lit = np.isfinite(floor.level_db[0, band])
    away = floor.points[lit] - floor.mirror_points[0, 0]
    assert floor.mirror_points[0, 0] == pytest.approx([1.5 + 0.8 * go_m, 2.0, 0.0])
    assert np.abs(away[:, 0]).max() == pytest.approx(along_m, abs=1.5 * grid)
    assert np.abs(away[:, 1]).max() == pytest.approx(across_m, abs=1.5 * grid)
    zone = (away[:, 0] / along_m) ** 2 + (away[:, 1] / across_m) ** 2
    assert zone.max() <= 1.01
    assert lit.sum() * grid**2 == pytest.approx(np.pi * along_m * across_m, rel=0.02)


def test_level_at_the_mirror_point_is_that_of_the_path() -> None:
    """A grid that has a cell exactly there: 3-4-5 triangle, 1.2 m direct and 1.5 m mirrored, -1.938 dB."""
    built = built_scene_of(box(6.0, 4.0, 2.6), [(2.4, 1.96, 0.45)], (3.6, 1.96, 0.45), listener=STILL)
    exact = maps_of(built, 0.08)["floor"]
    at = np.argmin(np.linalg.norm(exact.points - exact.mirror_points[0, 0], axis=1))
    assert exact.points[at] == pytest.approx([3.0, 1.96, 0.0], abs=1e-9)
    assert exact.level_db[0, 0, at] == pytest.approx(-1.938, abs=3e-3)


def slow_map(built: BuiltScene, facet_number: int, s: int, error: float, places: np.ndarray) -> np.ndarray:
    """Energies (band, g): every head, every error, every driver, every place, as the formula reads."""
    room, one, speed = built.room, built.loudspeakers[s], built.air.speed_of_sound_m_s
    facet = room.facets[facet_number]
    others = room.triangles[room.plane_of_triangle != facet.plane]
    own = room.owner_number(one.body)
    beyond_own = room.triangles[(room.plane_of_triangle != facet.plane) & (room.owner_of_triangle != own)]
    frequencies = sample_frequencies(BANDS, POINTS_PER_OCTAVE)
    total = np.zeros((len(BANDS), len(places)))
    samples = list(product(head_positions(built.head_box), placement_errors(error)))
    factor = np.sqrt(1.0 - built.absorption[facet_number][0])

    def gain(source: np.ndarray, d: int, toward: np.ndarray, length: float, hertz: np.ndarray) -> np.ndarray:
        way = (toward - source) / np.linalg.norm(toward - source)
        radiated = one.model.driver_radiation(d, one.to_box(way)[None], hertz, speed)[0]
        return radiated * 10.0 ** (-attenuation_db_per_m(hertz, built.air) * length / 20.0) / length

    for head, shift in samples:
        ear = built.ears[0] + head
        for b, hertz in enumerate(frequencies):
            direct = np.zeros(len(hertz), complex)
            for d, driver in enumerate(one.driver_points):
                length = float(np.linalg.norm(ear - driver - shift))
                direct += gain(driver + shift, d, ear, length, hertz) * np.exp(-2j * np.pi * hertz * length / speed)
            reference = np.mean(np.abs(direct) ** 2)
            for d, driver in enumerate(one.driver_points):
                source = driver + shift
                image = mirrored(source, facet.normal, facet.offset_m)
                fraction = (facet.normal @ ear - facet.offset_m) / (facet.normal @ (ear - image))
                point = ear + fraction * (image - ear)
                if not turns_about(*facet.to_plane(point), facet.border):
                    continue
                if not is_clear(source, point, beyond_own) or not is_clear(point, ear, others):
                    continue
                go, come = point - source, ear - point
                d1, d2 = float(np.linalg.norm(go)), float(np.linalg.norm(come))
                energy = np.mean(np.abs(factor * gain(source, d, point, d1 + d2, hertz)) ** 2) / reference
                cosine = abs(float(go @ facet.normal)) / d1
                half = np.sqrt(speed / BANDS.exact_hz[b] * d1 * d2 / (d1 + d2))
                along = facet.to_plane(point) - facet.to_plane(source)
                along = along / np.linalg.norm(along)
                away = places - facet.to_plane(point)
                u, v = away @ along * cosine / half, away @ np.array([-along[1], along[0]]) / half
                total[b] += energy * np.maximum(0.0, 1.0 - u**2 - v**2) ** 2 / len(samples)
    return total


@pytest.mark.parametrize("surface", ["desk top", "left wall", "ceiling"])
def test_map_is_the_mean_over_heads_errors_and_drivers(surface: str) -> None:
    """A desk that some samples miss, a material that takes a share; two loudspeakers."""
    pair = [
        loudspeaker((1.0, 1.2, 1.15), "left", model="two-way", tilt_deg="ear"),
        loudspeaker((1.0, 2.9, 1.15), "right", model="coaxial", tilt_deg="ear"),
    ]
    built = built_scene_of(
        box(5.0, 4.0, 2.6, {"ceiling": "tiles"}),
        pair,
        (2.4, 2.0, 1.2),
        absorption={"tiles": [0.36] * 8},
        furniture=[desk((1.1, 1.72), (1.3, 3.0), 0.74)],
        listener={"head_box": {"depth": 0.3, "across": 0.2, "up": 0.1}},
    )
    one = maps_of(built, 0.1, 0.05)[surface]
    slow = np.stack([slow_map(built, one.facet, s, 0.05, one.plane_coordinates) for s in range(2)])
    with np.errstate(divide="ignore"):
        expected = 10.0 * np.log10(slow)
    shown = np.maximum(one.level_db, -90.0)
    assert shown == pytest.approx(np.maximum(expected, -90.0), abs=1e-6)
    assert np.isneginf(one.level_db[slow == 0.0]).all()


def test_both_loudspeakers_are_weighed_by_their_direct_sound() -> None:
    """Two equal points at mirrored places of a symmetrical room: both together is their mean."""
    built = built_scene_of(box(5.0, 4.0, 2.6), [(1.0, 1.2, 1.2), (1.0, 2.8, 1.2)], (2.6, 2.0, 1.2), listener=STILL)
    ceiling = maps_of(built)["ceiling"]
    energies = 10.0 ** (np.maximum(ceiling.level_db, -200.0) / 10.0)
    assert 10.0 ** (np.maximum(ceiling.both_db, -200.0) / 10.0) == pytest.approx(energies.mean(axis=0), abs=1e-9)
    # a near one counts for more: direct sound of energy 1/r^2
    built = built_scene_of(box(5.0, 4.0, 2.6), [(1.6, 1.2, 1.2), (0.4, 2.8, 1.2)], (2.6, 2.0, 1.2), listener=STILL)
    ceiling = maps_of(built)["ceiling"]
    ratios = 10.0 ** (np.maximum(ceiling.level_db[:, 0], -200.0) / 10.0)
    weights = [1.0 / float(np.sum((built.ears[0] - one.axis_point) ** 2)) for one in built.loudspeakers]
    mixed = (weights[0] * ratios[0] + weights[1] * ratios[1]) / sum(weights)
    assert 10.0 ** (np.maximum(ceiling.both_db[0], -200.0) / 10.0) == pytest.approx(mixed, rel=2e-3, abs=1e-9)


def test_surfaces_that_no_sample_reaches_have_no_map() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [(1.0, 2.0, 1.2)],
        (2.6, 2.0, 1.2),
        furniture=[desk((1.3, 1.5), (1.8, 2.2), 0.74)],
        listener=STILL,
    )
    found = maps_of(built)
    assert "desk underside" not in found and "desk top" not in found
    assert "ceiling" in found
    # with a head that moves far enough some samples meet the desk: a map without a nominal mirror point
    moving = built_scene_of(
        box(5.0, 4.0, 2.6),
        [(1.0, 2.0, 1.2)],
        (2.6, 2.0, 1.2),
        furniture=[desk((1.3, 1.75), (1.8, 2.2), 0.74)],
        listener={"head_box": {"depth": 0.6, "across": 0.1, "up": 0.1}},
    )
    top = maps_of(moving)["desk top"]
    assert np.isnan(top.mirror_points).all()
    assert np.isfinite(top.level_db).any()


@given(st.integers(0, 2**32 - 1), st.floats(0.05, 0.6))
def test_grid_cells_are_the_middles_inside_the_polygon(seed: int, grid: float) -> None:
    outline = star_outline(np.random.default_rng(seed), 6, convex=False)
    facets, _, _ = build_facets(prism_patches(outline, 2.5)[:1])
    flat, cell, shape, origin, inside = grid_of(facets[0], grid)
    assert inside.shape == shape
    assert flat == pytest.approx(origin + cell * grid)
    assert inside[tuple(cell.T)].tolist() == list(range(len(flat)))
    assert int((inside >= 0).sum()) == len(flat)
    for place, number in np.ndenumerate(inside):
        assert (number >= 0) == turns_about(*(origin + np.array(place) * grid), facets[0].border)
    ends = facets[0].border.reshape(-1, 2)
    middle = origin + 0.5 * (np.array(shape) - 1) * grid
    assert middle == pytest.approx(0.5 * (ends.min(axis=0) + ends.max(axis=0)), abs=1e-9)


def test_a_strip_narrower_than_the_grid_gets_one_row_along_its_middle() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [(1.0, 2.0, 1.2)],
        (2.6, 2.0, 1.2),
        furniture=[desk((1.79, 1.82), (1.0, 3.0), 0.74)],
        listener=STILL,
    )
    top = maps_of(built, 0.1)["desk top"]
    assert min(top.shape) == 1 and max(top.shape) == 20
    assert top.points[:, 0] == pytest.approx(1.805)
