from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from tests.builders.attic_mesh import ATTICS, SCENES, Face, in_file_frame, obj_text, surfaces

NAMES = {
    "front gable",
    "rear gable",
    "left knee wall",
    "right knee wall",
    "left slope",
    "right slope",
    "flat ceiling",
    "floor",
    "dormer ceiling",
    "dormer front cheek",
    "dormer rear cheek",
    "dormer window",
    "dormer lintel",
}


def triangles() -> dict[str, list[Face]]:
    return {
        name: [[face[0], b, c] for face in faces for b, c in pairwise(face[1:])] for name, faces in surfaces().items()
    }


@pytest.mark.parametrize("scene", ATTICS)
def test_the_file_in_the_scene_is_what_the_builder_writes(scene: str) -> None:
    assert (SCENES / scene / "attic.obj").read_text(encoding="utf-8") == obj_text()


def test_every_surface_is_there() -> None:
    assert set(surfaces()) == NAMES


def test_the_mesh_is_closed_and_wound_one_way() -> None:
    sides = Counter(
        (face[index - 1], face[index]) for faces in surfaces().values() for face in faces for index in range(len(face))
    )
    assert all(count == 1 and sides[end, start] == 1 for (start, end), count in sides.items())


def test_the_faces_look_into_the_room() -> None:
    corners = np.array([in_file_frame(face) for faces in triangles().values() for face in faces])
    volume = float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum()) / 6.0
    # Rectangle, trapezium above it, and the prism of the dormer; outward faces would make it positive.
    by_hand = (4.60 * 1.05 + 0.5 * (4.60 + 1.50) * 1.55) * 5.40 + 0.5 * 1.20 * 1.20 * 1.40
    assert volume == pytest.approx(-by_hand, abs=1e-9)


def test_no_triangle_is_degenerate() -> None:
    corners = np.array([in_file_frame(face) for faces in triangles().values() for face in faces])
    doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    assert doubled.min() > 0.1


def test_the_areas_are_those_of_the_drawing() -> None:
    def area(name: str) -> float:
        corners = np.array([in_file_frame(face) for face in triangles()[name]])
        doubled = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
        return float(doubled.sum()) / 2.0

    slope = 1.55 * np.sqrt(2.0) * 5.40
    assert area("left slope") == pytest.approx(slope)
    assert area("right slope") == pytest.approx(slope - 1.20 * np.sqrt(2.0) * 1.40)
    assert area("dormer window") == pytest.approx(1.40 * 1.10)
    assert area("dormer front cheek") == pytest.approx(0.5 * 1.20 * 1.20)
    assert area("flat ceiling") == pytest.approx(1.50 * 5.40)
