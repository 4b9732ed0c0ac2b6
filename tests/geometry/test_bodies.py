"""Inside or outside, and how much volume: against closed forms and a ray-counting twin."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from sim.geometry.mesh_checks import numbered_bodies, signed_volume, winding_number

BALL = np.array(trimesh.creation.icosphere(subdivisions=2).triangles)


def crossings(point: np.ndarray, triangles: np.ndarray) -> int:
    """Count faces above a point by hand (ray upward, crossing test in plan, twin of the winding number)."""
    count = 0
    for a, b, c in triangles:
        plan = np.array([[b[0] - a[0], c[0] - a[0]], [b[1] - a[1], c[1] - a[1]]])
        if abs(np.linalg.det(plan)) < 1e-14:
            continue
        fraction = np.linalg.solve(plan, point[:2] - a[:2])
        if fraction.min() >= 0.0 and fraction.sum() <= 1.0:
            count += bool((a + fraction[0] * (b - a) + fraction[1] * (c - a))[2] > point[2])
    return count


@given(st.tuples(*[st.floats(-1.5, 1.5)] * 3))
def test_winding_number_agrees_with_counting_crossings(place: tuple[float, float, float]) -> None:
    point = np.array(place) + np.array([1.1e-5, 2.3e-5, 0.0])
    radius = np.linalg.norm(point)
    if 0.93 < radius < 1.02:
        return
    inside = crossings(point, BALL) % 2 == 1
    assert winding_number(point, BALL) == pytest.approx(1.0 if inside else 0.0, abs=1e-9)
    assert winding_number(point, BALL[:, ::-1]) == pytest.approx(-1.0 if inside else 0.0, abs=1e-9)


def test_volume_of_a_box_anywhere_and_its_sign() -> None:
    box = trimesh.creation.box((2.0, 3.0, 4.0))
    box.apply_translation((100.0, -50.0, 7.0))
    assert signed_volume(np.array(box.triangles)) == pytest.approx(24.0)
    assert signed_volume(np.array(box.triangles)[:, ::-1]) == pytest.approx(-24.0)


def test_a_box_without_a_side_still_tells_its_sense() -> None:
    triangles = np.array(trimesh.creation.box((2.0, 3.0, 4.0)).triangles)
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    assert signed_volume(triangles[normals[:, 2] <= 0.0]) > 0.0


def test_bodies_are_numbered_by_volume() -> None:
    small, large = trimesh.creation.box((1, 1, 1)), trimesh.creation.box((3, 3, 3))
    corners = np.concatenate([small.vertices, large.vertices + 10.0])
    faces = np.concatenate([small.faces, large.faces + len(small.vertices)]).astype(np.int64)
    assert numbered_bodies(corners, faces).tolist() == [1] * 12 + [0] * 12
