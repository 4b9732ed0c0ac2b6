"""Many rays at once: the same bits as one by one, on one thread or several, and not on several by mistake."""

from __future__ import annotations

import numpy as np
import pytest

from sim.rays import ray_kernels as batch_kernels
from sim.rays.shape_kernels import nearest_hit
from tests.rays.ray_rooms import closed_rooms, nearest_slowly, rays_of

ROOMS = closed_rooms(12)


@pytest.mark.parametrize("count", [1, 1023, 5000])
def test_batches_give_the_bits_of_single_rays(count: int) -> None:
    _, triangles, place = ROOMS[4]
    rng = np.random.default_rng(count)
    points = place + rng.uniform(0.0, 0.02, (count, 3)) * np.array([1.0, 1.0, -1.0])
    directions, limit = rng.normal(size=(count, 3)), rng.uniform(0.1, 3.0, count)
    rays = rays_of(triangles)
    t, triangle = batch_kernels.nearest_of_rays(points, directions, limit, *rays)
    for i in range(0, count, 7):
        assert (t[i], triangle[i]) == nearest_hit(points[i], directions[i], 0.0, limit[i], -1, -1, -1, *rays)
    slow_t, slow = nearest_slowly(points, directions, 0.0, limit, triangles, np.zeros(len(triangles), np.bool_))
    assert (triangle == slow).all() and np.allclose(t, slow_t, rtol=1e-9)
    met = batch_kernels.any_of_rays(points, directions, limit, *rays)
    assert (met == (triangle >= 0)).all()
    other_t, other = batch_kernels.nearest_of_rays_on_threads(points, directions, limit, *rays)
    assert other_t.tobytes() == t.tobytes() and (other == triangle).all()
    assert (batch_kernels.any_of_rays_on_threads(points, directions, limit, *rays) == met).all()


def test_flavours_for_threads_have_names_of_their_own() -> None:
    """One name for both would share an entry of the compiler's cache and run on several threads, or on one, by luck."""
    flavours = {
        name: bool(kernel.targetoptions.get("parallel"))
        for name, kernel in vars(batch_kernels).items()
        if hasattr(kernel, "targetoptions") and kernel.py_func.__module__ == batch_kernels.__name__
    }
    assert {name for name, parallel in flavours.items() if parallel} == {
        name for name in flavours if name.endswith("_on_threads")
    }
    assert sum(flavours.values()) == 2
