"""Rectangles about facets hold them, and are no larger than need be."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.room import build_room
from sim.propagation.mirrors.path_kernels import WIDER_M, lay_sheets, smallest_rectangle
from tests.geometry.furnished import prism_patches, star_outline

seeds = st.integers(0, 2**32 - 1)


def sides_of(corners: np.ndarray) -> np.ndarray:
    return np.hstack([corners, np.roll(corners, -1, axis=0)])


@given(seeds, st.integers(3, 12), st.booleans())
def test_sheets_hold_their_facets(seed: int, corners: int, convex: bool) -> None:
    room = build_room(prism_patches(star_outline(np.random.default_rng(seed), corners, convex), 2.5))
    a = room.arrays
    number = np.random.default_rng(seed).permutation(len(room.facets))
    sheets = lay_sheets(number, a.normal, a.offset, a.frame, a.border, a.border_start, np.zeros(len(room.facets)))
    for sheet, f in zip(sheets, number, strict=True):
        facet = room.facets[f]
        centre, along, across = sheet[:3], sheet[3:6], sheet[6:9]
        assert along @ across == pytest.approx(0.0, abs=1e-9)
        assert np.cross(along, across) @ facet.normal > 0.0
        assert sheet[9:12] == pytest.approx(facet.normal) and sheet[12] == facet.offset_m
        for way in (along, across):
            half = np.linalg.norm(way)
            far = np.abs((facet.corners - centre) @ way / half)
            assert far.max() == pytest.approx(half - WIDER_M, abs=1e-9)
        assert np.abs((facet.corners - centre) @ facet.normal).max() < 1e-9


@given(seeds, st.integers(3, 40))
def test_rectangles_of_convex_polygons_are_the_smallest(seed: int, corners: int) -> None:
    """Against a search over 720 directions; the sides of a convex polygon are those of its hull."""
    flat = star_outline(np.random.default_rng(seed), corners, convex=True)
    _, _, low_x, high_x, low_y, high_y = smallest_rectangle(sides_of(flat))
    angles = np.radians(np.arange(0.0, 90.0, 0.125))
    turned = np.stack([np.cos(angles), np.sin(angles)], -1)[:, None] * flat[None]
    x = turned.sum(-1)
    y = (np.stack([-np.sin(angles), np.cos(angles)], -1)[:, None] * flat[None]).sum(-1)
    assert (high_x - low_x) * (high_y - low_y) <= (np.ptp(x, axis=1) * np.ptp(y, axis=1)).min() + 1e-9


def test_many_sides_and_sides_without_length() -> None:
    angle = np.linspace(0.0, 2.0 * np.pi, 500, endpoint=False)
    circle = np.column_stack([2.0 * np.cos(angle), np.sin(angle)])
    circle = np.insert(circle, 3, circle[3], axis=0)
    c, s, low_x, high_x, low_y, high_y = smallest_rectangle(sides_of(circle))
    held = shapely.box(low_x - 1e-9, low_y - 1e-9, high_x + 1e-9, high_y + 1e-9)
    turned = np.column_stack([c * circle[:, 0] + s * circle[:, 1], c * circle[:, 1] - s * circle[:, 0]])
    assert shapely.covers(held, shapely.points(turned)).all()
    assert (high_x - low_x) * (high_y - low_y) < 8.1
