"""Elements of standing solids: closed where they touch, alike where they nearly do."""

from __future__ import annotations

import numpy as np
import pytest

from sim.propagation.waves.cluster import alike_about
from sim.propagation.waves.elements import Elements, box_elements
from sim.propagation.waves.mesher import area_m2, cut_out, mesh_solids, quads_of
from sim.propagation.waves.problem import MOST_INNER_POINTS, inner_points
from sim.propagation.waves.surface import mirror_at, mirrored_elements

FLOOR = (np.array([0.0, 0.0, 1.0]), 0.0)


def box(low: tuple[float, float, float], high: tuple[float, float, float], turn_deg: float = 0.0) -> np.ndarray:
    corners = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]
    points = np.array(low) + np.array(corners) * (np.array(high) - low)
    middle, angle = points.mean(axis=0), np.radians(turn_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(middle + (points - middle) @ turn.T)


def flux(elements: Elements) -> np.ndarray:
    """Sum of areas times normals (3,): zero for what is closed."""
    return np.asarray((elements.areas_m2[:, None] * elements.normals).sum(axis=0))


def volume_m3(elements: Elements) -> float:
    """Volume inside what is closed (divergence theorem)."""
    return float((elements.areas_m2 * (elements.normals * elements.middles).sum(axis=1)).sum() / 3.0)


DESK = box((0.0, 0.0, 0.70), (0.75, 1.60, 0.73))
DESK_M2, SCREEN_M2 = 2 * (0.75 * 1.6 + 0.03 * 2.35), 2 * (0.05 * 0.6 + 0.37 * 0.65)


@pytest.mark.parametrize("turn", [0.0, 20.0])
@pytest.mark.parametrize(
    ("gap", "hidden"), [(0.0, 0.06), (5e-6, 0.06), (0.0005, 0.0), (0.003, 0.0), (0.015, 0.0), (0.03, 0.0)]
)
def test_what_touches_leaves_nothing_between(gap: float, hidden: float, turn: float) -> None:
    screen = box((0.2, 0.5, 0.73 + gap), (0.25, 1.1, 1.10 + gap), turn)
    elements = mesh_solids([DESK, screen], 0.057)
    assert elements.areas_m2.sum() == pytest.approx(DESK_M2 + SCREEN_M2 - hidden, abs=1e-5)
    np.testing.assert_allclose(flux(elements), 0.0, atol=1e-6)
    assert volume_m3(elements) == pytest.approx(0.75 * 1.6 * 0.03 + 0.05 * 0.6 * 0.37, abs=0.0011 * 0.03)


@pytest.mark.parametrize("turn", [0.0, 20.0])
def test_elements_face_each_other_across_a_thin_gap(turn: float) -> None:
    screen = box((0.2, 0.5, 0.74), (0.25, 1.1, 1.10), turn)
    elements = mesh_solids([DESK, screen], 0.057)
    under = (np.abs(elements.middles[:, 2] - 0.74) < 1e-9) & (elements.normals[:, 2] < -0.9)
    on = (np.abs(elements.middles[:, 2] - 0.73) < 1e-9) & (elements.normals[:, 2] > 0.9)
    for middle, area in zip(elements.middles[under], elements.areas_m2[under], strict=True):
        away = np.linalg.norm(elements.middles[on] - middle, axis=1)
        assert away.min() == pytest.approx(0.01, abs=1e-6)
        assert elements.areas_m2[on][np.argmin(away)] == pytest.approx(area, rel=1e-6)


def test_bodies_that_reach_into_each_other_are_one() -> None:
    elements = mesh_solids([box((0, 0, 0), (1, 1, 1)), box((0.5, 0, 0.5), (1.5, 1, 1))], 0.1, [FLOOR])
    # what stands on the floor has no underside; the other one's is in the air as far as it sticks out
    np.testing.assert_allclose(flux(elements), [0.0, 0.0, 1.0], atol=1e-9)
    assert elements.areas_m2.sum() == pytest.approx(1.5 + 0.5 + 2 * 1.25 + 1.0 + 0.5 + 0.5)


def test_what_lies_behind_a_wall_is_cut_away() -> None:
    elements = mesh_solids([box((-0.2, 0, 0.5), (0.4, 1, 0.6))], 0.1, [(np.array([1.0, 0.0, 0.0]), 0.0)])
    assert elements.middles[:, 0].min() > 0.0
    np.testing.assert_allclose(flux(elements), [0.1, 0.0, 0.0], atol=1e-9)


def test_elements_are_small_beside_a_source() -> None:
    source = np.array([[0.3, 0.4, 0.78]])
    elements = mesh_solids([DESK], 0.057, sources=source)
    longest = np.linalg.norm(np.roll(elements.corners, -1, axis=1) - elements.corners, axis=2).max(axis=1)
    away = np.linalg.norm(elements.middles - source, axis=1)
    assert (longest <= 0.5 * away + 1e-9).all()
    assert longest.max() > 0.05
    assert elements.areas_m2.sum() == pytest.approx(DESK_M2, abs=1e-6)
    np.testing.assert_allclose(flux(elements), 0.0, atol=1e-9)


def test_sums_over_elements_are_exact_for_what_is_even() -> None:
    elements = box_elements(box((0, 0, 0), (0.2, 0.3, 0.4), 30.0), 0.11)
    _, weights = elements.points(3)
    np.testing.assert_allclose(weights.sum(axis=1), elements.areas_m2)
    assert volume_m3(elements) == pytest.approx(0.2 * 0.3 * 0.4)


def test_a_cell_is_cut_without_loss() -> None:
    cell = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])
    planes = [(np.array([0.6, 0.8, 0.0]), 0.7), (np.array([-0.8, 0.6, 0.0]), 0.1)]
    inside, outside = cut_out(cell, planes)
    assert inside is not None
    assert area_m2(inside) + sum(map(area_m2, outside)) == pytest.approx(1.0)
    assert all((normal @ inside.T <= offset + 1e-9).all() for normal, offset in planes)
    assert sum(area_m2(quad) for quad in quads_of(inside)) == pytest.approx(area_m2(inside))
    assert cut_out(cell, [(np.array([1.0, 0.0, 0.0]), -1.0)])[0] is None


def flipped(solid: np.ndarray, across: float) -> np.ndarray:
    """A solid on the other side of the middle of something as wide."""
    return np.asarray(solid * [1.0, -1.0, 1.0] + [0.0, across, 0.0])


CABINET = box((0.1, 0.2, 0.79), (0.33, 0.38, 1.08), 17.0)
SCREEN = box((0.2, 0.5, 0.84), (0.25, 1.1, 1.20))


def test_left_and_right_are_alike_where_they_are() -> None:
    found = alike_about(np.array([DESK, SCREEN, CABINET, flipped(CABINET, 1.6)]), [FLOOR])
    assert found is not None
    (normal, offset), there = found
    np.testing.assert_allclose(np.abs(normal), [0.0, 1.0, 0.0], atol=1e-9)
    assert offset == pytest.approx(0.8 * normal[1])
    np.testing.assert_array_equal(there[there], np.arange(24))
    np.testing.assert_array_equal(there // 6, np.repeat([0, 1, 3, 2], 6))


@pytest.mark.parametrize("moved", [[0.0, 0.001, 0.0], [0.001, 0.0, 0.0], [0.0, 0.0, 0.001]])
def test_a_millimetre_is_not_alike(moved: list[float]) -> None:
    assert alike_about(np.array([DESK, SCREEN, CABINET, flipped(CABINET, 1.6) + moved]), [FLOOR]) is None


def test_what_stands_beside_a_wall_is_not_alike() -> None:
    wall = (np.array([0.0, 1.0, 0.0]), -0.1)
    assert alike_about(np.array([DESK]), [FLOOR, wall])[0][0][1] == pytest.approx(0.0)  # about the other middle
    assert alike_about(np.array([DESK, SCREEN]), [FLOOR, wall]) is None


def test_a_half_and_its_image_are_all_that_stands_there() -> None:
    solids = [DESK, SCREEN, CABINET, flipped(CABINET, 1.6)]
    half = (np.array([0.0, 1.0, 0.0]), 0.8)
    part, whole = (mesh_solids(solids, 0.057, [FLOOR], plane) for plane in (half, None))
    other = mirrored_elements(part, mirror_at(*half))
    assert part.middles[:, 1].min() > 0.8
    assert 2.0 * part.areas_m2.sum() == pytest.approx(whole.areas_m2.sum(), abs=1e-5)
    assert volume_m3(part) + volume_m3(other) == pytest.approx(volume_m3(whole), abs=1e-6)
    np.testing.assert_allclose(flux(part) + flux(other), 0.0, atol=1e-6)


@pytest.mark.parametrize("turn_deg", [0.0, 20.0, -50.0])
def test_points_inside_a_mirrored_solid_are_mirrored_whatever_its_corners_are_called(turn_deg: float) -> None:
    """Else a room and its mirror image differ by up to 3 dB beside dips at 1 kHz."""
    solid = box((1.0, 1.1, 0.3), (1.23, 1.28, 0.59), turn_deg)
    tilted = solid + 0.2 * (solid[:, 2:] - 0.3) * [1.0, 0.0, 0.0]
    for one in (solid, tilted):
        there = one * [1.0, -1.0, 1.0]
        for corners in (there, there[[1, 0, 3, 2, 5, 4, 7, 6]], there[[4, 5, 6, 7, 0, 1, 2, 3]]):
            here, beyond = (inner_points(some[None], [], 3000.0, 343.0) for some in (one, corners))
            assert len(here) == len(beyond) > 0
            away = np.linalg.norm(here[:, None] * [1.0, -1.0, 1.0] - beyond[None], axis=2)
            assert away.min(axis=1).max() < 1e-9


def test_points_inside_are_as_many_in_two_halves_as_in_the_whole() -> None:
    solids, half = np.array([DESK, CABINET, flipped(CABINET, 1.6)]), (np.array([0.0, 1.0, 0.0]), 0.8)
    whole, part = (inner_points(solids, [FLOOR], 20_000.0, 343.0, plane) for plane in (None, half))
    assert len(whole) == 3 * MOST_INNER_POINTS
    assert 2 * len(part) == len(whole)
    assert part[:, 1].min() > 0.8
