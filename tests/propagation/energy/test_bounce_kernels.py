"""The kernel that remembers bounces against its slow twin, arrival by arrival."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.energy.bounce_rays import bounce_rays
from tests.propagation.energy.test_tracer_kernels import furnished
from tests.propagation.slow_rays import slow_bounces


@pytest.mark.parametrize("s", [0, 1])
def test_agrees_with_the_slow_twin_arrival_by_arrival(s: int) -> None:
    built, count = furnished(), 400
    settings = {"seed": 2**33 + 5, "longest_m": 12.0, "radius_m": 0.4}
    found = bounce_rays(built, s, rays=count, **settings)  # type: ignore[arg-type]
    energy, length, bounces, facets, places = slow_bounces(built, s, range(count), **settings)  # type: ignore[arg-type]
    assert len(length) > 100
    assert found.length_m == pytest.approx(length, abs=1e-7)
    assert np.array_equal(found.bounces, bounces)
    assert np.array_equal(found.facet, facets)
    assert found.place == pytest.approx(places, abs=1e-7, nan_ok=True)
    assert found.energy * count == pytest.approx(energy, rel=1e-6)
