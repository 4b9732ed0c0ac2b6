"""Facets that end in the air: the factor F against the Fresnel integral, room corners, and the fade beside a facet."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.patches import fraction_of_panel, panel_on_wall_axes
from sim.blueprint.reader import parse_scene
from sim.geometry.bare_sides import bare_sides, side_openness
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.edges import diffracting
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces import facet_outlines
from sim.propagation.surfaces import finite_facets as ff
from sim.propagation.surfaces.incidence import incidences_with
from tests.room_texts import room_text

SHELF = """
[[furniture]]
kind = "block"
name = "shelf"
from_front = [1.2, 1.6]
from_left = [2.0, 2.5]
up = [{low}, {high}]
material = "rigid"
"""
FREQUENCIES = np.array([250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0])


def stage_with(low: float, high: float, ear_up: float = 1.2) -> BuiltScene:
    text = room_text(
        (4.2, 5.0, 2.6),
        (3.2, 2.1, ear_up),
        {"left": (0.8, 1.2, 1.15), "right": (0.8, 3.0, 1.15)},
        more=SHELF.format(low=low, high=high),
    )
    return build_scene(parse_scene(text, Path()).blueprint, Path())


def test_corners_of_a_room_are_not_bare_and_a_hanging_block_is_all_round() -> None:
    room = stage_with(0.6, 0.9).room
    bare = bare_sides(room)
    for f, facet in enumerate(room.facets):
        sides = bare[room.arrays.rim_start[f] : room.arrays.rim_start[f + 1]]
        assert sides.all() if facet.owner == "shelf" else not sides.any()


def test_a_block_on_the_floor_has_a_foot_that_is_not_bare() -> None:
    room = stage_with(0.0, 0.9).room
    bare = bare_sides(room)
    f = room.facet_numbers("shelf listener side")[0]
    sides = bare[room.arrays.rim_start[f] : room.arrays.rim_start[f + 1]]
    assert sides.sum() == 3


def weights_of(gap: float) -> dict[tuple[int, ...], np.ndarray]:
    """F of every path of a room with a block so far over its floor, by loudspeaker, driver, seat and facets."""
    built = stage_with(gap, 0.9)
    paths = trace_paths(built, 2, beside_m=ff.BESIDE_M)
    rows, product = ff.finite_factors(built, paths, FREQUENCIES)
    keys = np.column_stack([paths.loudspeaker, paths.driver, paths.listener, paths.facets])
    found = {tuple(key): np.ones(len(FREQUENCIES), dtype=complex) for key in keys.tolist()}
    return found | {tuple(keys[row].tolist()): factor for row, factor in zip(rows, product, strict=True)}


def test_a_side_is_open_by_its_distance_to_what_lies_beside_it() -> None:
    for gap, opened in ((0.0005, 0.0), (0.0205, 0.5), (0.05, 1.0)):
        room = stage_with(gap, 0.9).room
        f = room.facet_numbers("shelf listener side")[0]
        sides = side_openness(room)[room.arrays.rim_start[f] : room.arrays.rim_start[f + 1]]
        assert sorted(sides.tolist()) == pytest.approx(sorted([opened, 1.0, 1.0, 1.0]), abs=1e-6)


@pytest.mark.parametrize(("low", "high"), [(0.00099, 0.00101), (0.0199, 0.02), (0.03995, 0.04005)])
def test_a_gap_that_opens_switches_no_factor(low: float, high: float) -> None:
    """A side near another surface was bare or not, from one micrometre to the next: F moved by up to 0.5 at 1 mm."""
    before, after = weights_of(low), weights_of(high)
    none = np.zeros(len(FREQUENCIES))
    moved = [np.abs(after.get(key, none) - before.get(key, none)).max() for key in {*before, *after}]
    assert max(moved) < 0.01


def test_a_facet_whose_bare_sides_all_lie_just_off_something_has_all_of_its_factor(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Exactly 1 mm off, a side is bare and yet open by nothing: where no other one is, F had no sides to go by."""
    built = stage_with(0.6, 0.9)
    paths = trace_paths(built, 3, beside_m=ff.BESIDE_M)
    shelf = np.array([facet.owner == "shelf" for facet in built.room.facets])
    met = incidences_with(built, paths, shelf)
    met = met.chosen(np.flatnonzero(met.facet == met.facet[0]))
    monkeypatch.setattr(ff, "side_openness", lambda room: np.zeros(len(room.arrays.rim)))
    factor = ff.factor_of_facet(built, int(met.facet[0]), met, np.zeros(len(met)), FREQUENCIES)
    assert np.abs(factor) == pytest.approx(1.0, abs=0.05)


def test_f_is_the_fresnel_integral_over_the_facet() -> None:
    """Against `fraction_of_panel`, which integrates each side by quadrature (Born & Wolf, Principles of Optics)."""
    built = stage_with(0.6, 0.9)
    paths = trace_paths(built, 3, beside_m=ff.BESIDE_M)
    rows, product = ff.finite_factors(built, paths, FREQUENCIES)
    taking, compared = ff.takes_factor(built, paths.facets), 0
    finite = ff.finite_facets(built)
    for row, factor in zip(rows, product, strict=True):
        if taking[row].sum() != 1 or paths.margin_m[row] < 0.0:
            continue
        one = paths.chosen(np.array([row]))
        met = incidences_with(built, one, finite)
        facet = built.room.facets[int(met.facet[0])]
        corners, cosine = panel_on_wall_axes(facet.corners, met.point[0], met.arriving[0], facet.normal)
        expected = fraction_of_panel(
            corners, float(met.before_m[0]), float(met.after_m[0]), cosine, FREQUENCIES, built.air.speed_of_sound_m_s
        )
        assert factor == pytest.approx(expected, abs=2e-3)
        compared += 1
    assert compared >= 1


def test_paths_over_walls_alone_are_left_as_they_are() -> None:
    built = stage_with(0.6, 0.9)
    paths = trace_paths(built, 3)
    rows, _ = ff.finite_factors(built, paths, FREQUENCIES)
    owners = [{built.room.facets[f].owner for f in paths.facets[row] if f >= 0} for row in rows]
    assert all("shelf" in some for some in owners)


def test_a_side_that_is_not_bare_lets_the_polygon_go_on() -> None:
    """A point on the foot of a block is on no rim: F is 1 there but for the other three sides, not 1/2."""
    square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
    let_out = facet_outlines._let_out(square, np.array([False, True, True, True]))
    shares = [
        ff.fractions_of_polygons(ring[None] - [2.0, 0.0], np.array([1.0]), 2.0 * np.pi * FREQUENCIES / 343.0)[0]
        for ring in (square, let_out)
    ]
    assert np.abs(shares[0][2:]) == pytest.approx(0.5, abs=0.06)
    assert np.abs(shares[1][2:]) == pytest.approx(1.0, abs=0.06)


def test_the_fade_begins_at_the_rim_with_one_and_ends_with_nothing() -> None:
    assert ff.faded(np.array([0.0, 0.5, 1.0, 2.0])) == pytest.approx([1.0, 1.0, 0.0, 0.0], abs=1e-12)


def test_the_factor_knows_the_mirrors_that_edges_are_traced_with() -> None:
    assert ff.SMALLEST_MIRROR_M2 == diffracting.SMALLEST_MIRROR_M2
