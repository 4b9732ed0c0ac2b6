"""The solver behind the saved values: a sphere with a cap has a series to compare with, saved values are finite."""

from __future__ import annotations

import numpy as np
import pytest

from tests.builders.box_bem import (
    ANGLES_DEG,
    BOXES,
    FREQUENCIES_HZ,
    ORBITS,
    box_panels,
    disc_fractions,
    received,
    reference,
)
from tests.builders.plate_bem import panel_points, sphere_eighth


def whole_sphere(radius: float, count: int) -> np.ndarray:
    eighth = sphere_eighth(radius, count)
    parts = []
    for signs in np.array(np.meshgrid(*3 * [(1.0, -1.0)])).T.reshape(-1, 3):
        mirrored = eighth * signs
        parts.append(mirrored if signs.prod() > 0 else mirrored[:, [0, 2, 1, 1]])
    return np.concatenate(parts)


@pytest.mark.parametrize("kr", [1.5, 4.493])  # the second is a resonance of the inside, which the inner points settle
def test_reciprocity_on_a_sphere_gives_the_cap(kr: float) -> None:
    from tests.loudspeakers.cap import cap_series

    panels = whole_sphere(1.0, 12)
    angles = np.radians([0.0, 60.0, 120.0, 180.0])
    ways = np.column_stack([np.cos(angles), np.sin(angles), 0.0 * angles])
    middles, _, _, weights = panel_points(panels)
    area = weights.sum(axis=1)
    cap = np.where(middles[:, 0] > np.cos(0.4) * np.linalg.norm(middles, axis=1), area, 0.0)
    fractions = (cap / cap.sum())[None]
    half_angle = np.arccos(1.0 - 2.0 * cap.sum() / area.sum())
    inner = np.random.default_rng(1).uniform(-0.5, 0.5, (12, 3))
    found = received(panels, ways, fractions, inner, kr)[0]
    exact = cap_series(float(half_angle), np.cos(angles), [kr])[:, 0]
    assert np.abs(found / found[0]) == pytest.approx(np.abs(exact / exact[0]), abs=0.015)


def test_panels_and_discs_cover_what_they_should() -> None:
    size = (0.2, 0.3, 0.25)
    panels = box_panels(size, 0.03)
    crossed = np.cross(panels[:, 1] - panels[:, 0], panels[:, 3] - panels[:, 0])
    assert np.linalg.norm(crossed, axis=1).sum() == pytest.approx(2 * (0.2 * 0.3 + 0.2 * 0.25 + 0.3 * 0.25))
    middles = panels.mean(axis=1)
    assert (np.einsum("ij,ij->i", crossed, middles - [-0.125, 0.0, 0.0]) > 0.0).all()
    fractions = disc_fractions(panels, 0.05, 0.04)
    assert fractions.sum() == pytest.approx(1.0)
    assert fractions @ middles == pytest.approx([0.0, 0.0, 0.04], abs=0.004)


def test_saved_values_are_of_these_boxes() -> None:
    for name, box in BOXES.items():
        for part, _, _ in box.discs:
            values = reference(name, part)
            assert values.shape == (len(FREQUENCIES_HZ), len(ORBITS), len(ANGLES_DEG))
            assert np.isfinite(values).all()
            assert values[:, :, 0] == pytest.approx(1.0)
