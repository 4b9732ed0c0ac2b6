"""Rays that remember where they bounced: against image sources, late rays, and themselves."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import BounceplanError
from sim.propagation.energy.bounce_rays import bounce_rays
from sim.propagation.energy.image_energy import from_axis_points, image_energy
from sim.propagation.energy.late_rays import trace_late
from sim.propagation.mirrors.image_sources import trace_paths
from tests.propagation.energy.test_late_rays import room_of
from tests.propagation.energy.test_tracer_kernels import furnished

LONGEST_M = 12.0


def test_places_and_energies_of_mirrored_paths_are_those_of_image_sources() -> None:
    """Two mirrors and less in a hard room: every arrival is near a path, and each path gets its energy back."""
    built = room_of(0.2, 0.0)
    paths = trace_paths(from_axis_points(built), 2)
    found = bounce_rays(built, 0, seed=3, rays=400_000, longest_m=LONGEST_M, radius_m=0.2)
    assert not found.scattered.any()
    for row in np.flatnonzero((paths.order > 0) & (paths.length_m < LONGEST_M - 0.3)):
        order = int(paths.order[row])
        same = (found.bounces == order) & (found.facet[:, :order] == paths.facets[row, :order]).all(axis=1)
        energy = found.energy[same, 2]
        length = paths.length_m[row]
        expected = 0.8**order / length**2
        assert abs(energy.sum() - expected) < 4.0 * np.sqrt((energy**2).sum()) + 0.01 * expected
        for n in range(order):
            away = np.linalg.norm(found.place[same, n] - paths.points[row, n], axis=1)
            assert away.max() < 0.8  # a sphere of 0.2 m, seen at a slant
            middle = np.average(found.place[same, n], axis=0, weights=energy)
            assert np.linalg.norm(middle - paths.points[row, n]) < 0.05
        assert found.length_m[same] == pytest.approx(length, abs=0.21)


def test_the_whole_is_what_images_and_late_rays_bring() -> None:
    """Octaves that scatter unlike each other share rays here and are weighted; there each is traced as if alone."""
    built = furnished()
    settings = {"bin_s": 0.02, "length_s": 0.02, "order": 0}
    late = trace_late(built, seed=1, rays=100_000, radius_m=0.2, **settings).energy[0, 0, :, 0]  # type: ignore[arg-type]
    found = bounce_rays(built, 0, seed=2, rays=100_000, longest_m=0.02 * 343.2, radius_m=0.2)
    assert image_energy(built, **settings)[0, 0].any()  # type: ignore[arg-type]
    error = np.sqrt((found.energy**2).sum(axis=0))
    assert np.all(np.abs(found.energy.sum(axis=0) - late) < 4.5 * np.sqrt(2.0) * error)
    assert np.all(error < 0.06 * late)


def test_the_first_three_places_lie_on_their_facets() -> None:
    built = furnished()
    found = bounce_rays(built, 1, seed=2, rays=20_000, longest_m=9.0)
    assert found.bounces.max() > 3
    for n in range(3):
        known = found.facet[:, n] >= 0
        assert np.array_equal(known, found.bounces > n)
        normal, offset = (
            built.room.arrays.normal[found.facet[known, n]],
            built.room.arrays.offset[found.facet[known, n]],
        )
        assert np.einsum("ij,ij->i", found.place[known, n], normal) == pytest.approx(offset, abs=1e-9)
        assert np.isnan(found.place[~known, n]).all()


def test_threads_change_nothing() -> None:
    one, two = (bounce_rays(furnished(), 0, seed=9, rays=3000, longest_m=9.0, workers=n) for n in (1, 2))
    assert np.array_equal(one.energy, two.energy) and np.array_equal(one.place, two.place, equal_nan=True)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(BounceplanError, match="give at least 1"):
        bounce_rays(furnished(), 0, seed=1, rays=0, longest_m=9.0)
    with pytest.raises(BounceplanError, match="the seed"):
        bounce_rays(furnished(), 0, seed=2**64, rays=1, longest_m=9.0)
