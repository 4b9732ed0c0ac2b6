"""Facets and panels with what they keep and scatter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.acoustics.layered_reflection import random_incidence
from sim.acoustics.materials import FLAT_SCATTERING
from sim.propagation.energy.boundaries import boundaries_of, boundary_of_points
from tests.built_scenes import box, built_scene_of
from tests.propagation.energy.test_late_rays import sheet_in_a_room
from tests.propagation.energy.test_tracer_kernels import SCATTERING, furnished


def test_facets_come_first_with_their_own_numbers() -> None:
    built = furnished()
    boundaries = boundaries_of(built)
    facets = len(built.room.facets)
    assert boundaries.kept.shape == boundaries.scattering.shape == (facets + 1, 8)
    ceiling = built.room.facet_numbers("ceiling")[0]
    assert boundaries.kept[ceiling] == pytest.approx(
        1.0 - np.array([0.3, 0.1, 0.1, 0.2, 0.2, 0.3, 0.4, 0.5]), abs=1e-12
    )
    assert boundaries.scattering[ceiling].tolist() == SCATTERING


def test_a_panel_takes_what_its_layers_take_at_random_incidence() -> None:
    built = furnished()
    boundaries = boundaries_of(built)
    taken = random_incidence(built.finishes[0].build_up, np.geomspace(1420.0, 2810.0, 400), air=built.air).mean()
    assert 1.0 - boundaries.kept[-1, 5] == pytest.approx(taken, abs=0.01)
    assert boundaries.scattering[-1].tolist() == [FLAT_SCATTERING] * 8


def test_openings_keep_nothing_and_lab_values_near_one_a_hundredth() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.5, {"ceiling": "open", "floor": "wool"}),
        [(1.0, 1.0, 1.2)],
        (3.0, 2.0, 1.2),
        absorption={"wool": [0.2, 0.9, 1.1, 1.2, 1.0, 1.0, 1.0, 1.0]},
    )
    kept = boundaries_of(built).kept
    assert not kept[built.room.facet_numbers("ceiling")[0]].any()
    assert kept[built.room.facet_numbers("floor")[0], 3] == pytest.approx(0.01)


def test_points_on_a_panel_have_its_boundary() -> None:
    built = furnished()
    boundaries = boundaries_of(built)
    left = built.room.facet_numbers("left wall")[0]
    points = np.array([[1.5, 0.0, 1.0], [1.01, 0.0, 0.51], [2.41, 0.0, 1.0], [1.5, 0.0, 1.91]])
    found = boundary_of_points(built, boundaries, np.full(4, left), points)
    assert found.tolist() == [len(built.room.facets)] * 2 + [left] * 2
    right = built.room.facet_numbers("right wall")[0]
    assert boundary_of_points(built, boundaries, np.array([right]), points[:1]).tolist() == [right]


def test_both_sides_of_a_sheet_know_each_other() -> None:
    built = sheet_in_a_room()
    boundaries = boundaries_of(built)
    first, second = (built.room.arrays.plane[n] for n in built.room.facet_numbers("sheet"))
    assert boundaries.other_side[first] == second and boundaries.other_side[second] == first
    assert set(boundaries.other_side.tolist()) == {-1, int(first), int(second)}


def test_a_stage_that_was_told_nothing_has_flat_surfaces() -> None:
    built = replace(furnished(), scattering=np.zeros((0, 8)))
    assert np.all(boundaries_of(built).scattering == FLAT_SCATTERING)
