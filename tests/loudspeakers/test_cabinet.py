import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.loudspeakers.catalogue import Design, generic_loudspeaker
from sim.loudspeakers.loudspeaker import FACE_CORNERS, FACE_NAMES, cabinet_corners

OUTWARD = {
    "baffle": (1, 0, 0),
    "back": (-1, 0, 0),
    "top": (0, 0, 1),
    "underside": (0, 0, -1),
    "left side": (0, -1, 0),
    "right side": (0, 1, 0),
}


def test_corners_of_the_typical_two_way() -> None:
    corners = cabinet_corners(generic_loudspeaker("two-way"))
    assert corners is not None
    assert corners.shape == (8, 3)
    # The tweeter is the axis point, 0.07 m below the top edge; the box reaches 0.23 m back.
    assert corners.max(axis=0) == pytest.approx([0.0, 0.09, 0.07])
    assert corners.min(axis=0) == pytest.approx([-0.23, -0.09, -0.22])
    assert corners[0] == pytest.approx([0.0, -0.09, -0.22])
    assert corners[6] == pytest.approx([-0.23, 0.09, 0.07])


@given(
    width=st.floats(0.18, 0.6),
    height=st.floats(0.29, 1.0),
    depth=st.floats(0.1, 0.6),
)
def test_faces_close_the_box_and_look_outward(width: float, height: float, depth: float) -> None:
    loudspeaker = generic_loudspeaker("two-way", Design(width_m=width, height_m=height, depth_m=depth))
    corners = cabinet_corners(loudspeaker)
    assert corners is not None and tuple(OUTWARD) == FACE_NAMES
    volume = 0.0
    edges: list[tuple[tuple[float, ...], tuple[float, ...]]] = []
    for name, quad in zip(FACE_NAMES, corners[np.array(FACE_CORNERS)], strict=True):
        normal = np.cross(quad[1] - quad[0], quad[2] - quad[1])
        assert normal / np.linalg.norm(normal) == pytest.approx(OUTWARD[name], abs=1e-12)
        volume += float(np.dot(quad.mean(axis=0), normal)) / 3.0
        edges += [(tuple(quad[k]), tuple(quad[(k + 1) % 4])) for k in range(4)]
    assert volume == pytest.approx(width * height * depth)
    # Closed and wound alike: each edge runs once in each direction.
    assert len(set(edges)) == 24
    assert {(end, start) for start, end in edges} == set(edges)


def test_drivers_lie_on_the_baffle() -> None:
    for kind in ("two-way", "three-way", "coaxial"):
        loudspeaker = generic_loudspeaker(kind)
        corners = cabinet_corners(loudspeaker)
        assert corners is not None
        for forward, right, up in loudspeaker.driver_offsets_m:
            assert forward == 0.0
            assert corners[0, 1] < right < corners[1, 1]
            assert corners[0, 2] < up < corners[3, 2]


def test_no_box_without_a_cabinet_or_in_a_wall() -> None:
    assert cabinet_corners(generic_loudspeaker("point")) is None
    assert cabinet_corners(generic_loudspeaker("three-way", flush=True)) is None


def test_corners_are_read_only() -> None:
    corners = cabinet_corners(generic_loudspeaker("coaxial"))
    assert corners is not None
    with pytest.raises(ValueError, match="read-only"):
        corners[0, 0] = 1.0
