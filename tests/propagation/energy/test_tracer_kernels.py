"""The tracer against its slow twin, octave by octave and ray by ray."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.late_rays import trace_late
from sim.rays import wide_tree
from tests.built_scenes import block, box, built_scene_of, desk, point
from tests.propagation.slow_rays import slow_energy

SCATTERING = [0.0, 0.1, 0.2, 0.3, 0.5, 0.7, 0.9, 1.0]
ROUGH = {"absorption": [0.3, 0.1, 0.1, 0.2, 0.2, 0.3, 0.4, 0.5], "scattering": SCATTERING, "source": "made up"}
SMOOTH = {"absorption": [0.2] * 8, "scattering": 0.0, "source": "made up"}


def furnished() -> BuiltScene:
    room = box(4.2, 3.3, 2.5, {"all": "rough", "floor": "smooth", "front wall": "smooth"})
    panel = {
        "name": "side",
        "surface": "left wall",
        "from_front": [1.0, 2.4],
        "up": [0.5, 1.9],
        "material": "100 mm wool",
    }
    return built_scene_of(
        room,
        [(0.9, 0.8, 1.2), (0.9, 2.4, 1.1)],
        (2.4, 1.6, 1.2),
        materials={"rough": ROUGH, "smooth": SMOOTH},
        panels=[panel],
        listener={"second_seat": {"name": "sofa", "ear": point((3.4, 1.0, 1.0))}},
        furniture=[
            {**desk((1.2, 1.9), (0.9, 2.3), 0.74), "name": "desk", "material": "smooth"},
            {**block((3.0, 3.5), (2.5, 3.1), (0.0, 1.9)), "name": "cupboard", "material": "rough"},
        ],
    )


@pytest.mark.parametrize(("order", "seed"), [(0, 2**40 + 11), (2, 2**64 - 1)])
def test_agrees_with_the_slow_twin_in_every_octave(order: int, seed: int) -> None:
    """Octaves of many scattering coefficients share rays here; the twin traces each alone, and every bin agrees."""
    built = furnished()
    asked = {"seed": seed, "order": order, "bin_s": 2e-3, "length_s": 0.1, "radius_m": 0.2}
    rays = range(1000, 1024)
    found = trace_late(built, rays=len(rays), first_ray=rays.start, **asked)  # type: ignore[arg-type]
    assert found.escaped.max() == 0.0
    for s in range(2):
        for band in range(8):
            expected, *_ = slow_energy(built, s, band, rays, **asked)  # type: ignore[arg-type]
            assert found.energy[s, :, band] * len(rays) == pytest.approx(expected, rel=1e-6, abs=1e-9), (s, band)
    assert np.count_nonzero(found.energy) > 1000


def test_octaves_that_part_go_the_ways_they_would_go_alone() -> None:
    """A thousand rays whose eight octaves all scatter unlike each other: many more packets than rays."""
    built = furnished()
    asked = {"seed": 77, "order": 1, "bin_s": 1e-3, "length_s": 0.15, "rays": 1000}
    together = trace_late(built, **asked)  # type: ignore[arg-type]
    for band in range(8):
        alike = np.repeat(built.scattering[:, band : band + 1], 8, axis=1)
        alone = trace_late(replace(built, scattering=alike), **asked)  # type: ignore[arg-type]
        assert together.energy[:, :, band] == pytest.approx(alone.energy[:, :, band], rel=1e-11, abs=1e-18)
        assert together.absorbed[:, band] == pytest.approx(alone.absorbed[:, band], rel=1e-12)
        assert alone.bounces < 0.6 * together.bounces
    assert together.worst_imbalance < 1e-13


def test_rooms_of_many_leaves_are_traced_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same room as one that is looked at whole, and as one whose tree is walked through, many rays in flight."""
    asked = {"seed": 5, "order": 1, "bin_s": 1e-3, "length_s": 0.1, "rays": 1500}
    whole = trace_late(furnished(), **asked)  # type: ignore[arg-type]
    monkeypatch.setattr(wide_tree, "FLAT_LEAVES", 0)
    built = furnished()
    assert built.room.ray_arrays[0][0][7] == 0.0
    walked = trace_late(built, **asked)  # type: ignore[arg-type]
    assert walked.energy == pytest.approx(whole.energy, rel=1e-9, abs=1e-15)
    assert walked.queries == whole.queries and walked.bounces == whole.bounces
    assert walked.escaped.max() == 0.0
