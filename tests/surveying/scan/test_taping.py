"""Scans held against a tape, and laid with another wall in front: on a room made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import MeshError, SceneError
from sim.surveying.scan.ceilings import FoundCeiling, FoundSlope
from sim.surveying.scan.cloud import Cloud
from sim.surveying.scan.laying import LaidRoom, lay
from sim.surveying.scan.outline import OutlineSide
from sim.surveying.scan.taping import taped

NO_CLOUD = Cloud(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), np.zeros(0))
CORNERS = np.array([[0.0, 0.0], [4.4, 0.0], [4.4, 3.6], [0.0, 3.6]])


def room(front: str | None = None, slopes: tuple[FoundSlope, ...] = (), angle: float = 0.3) -> LaidRoom:
    """A box of 4.4 m by 3.6 m, turned as scans lie."""
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    corners = CORNERS @ turn.T + [1.0, -2.0]
    sides = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (end - start) / np.linalg.norm(end - start)
        normal = np.array([along[1], -along[0]])
        sides.append(OutlineSide(float(np.arctan2(normal[1], normal[0])), float(normal @ start), 8.0, 0.005, 0.003))
    return lay(sides, corners, FoundCeiling(2.5, 0.005, True, slopes), NO_CLOUD, front)


def test_the_long_side_is_the_depth_and_the_corner_is_zero() -> None:
    laid = room()
    np.testing.assert_allclose(laid.corners.min(axis=0), 0.0, atol=1e-9)
    np.testing.assert_allclose(np.ptp(laid.corners, axis=0), [4.4, 3.6])
    assert set(laid.names) == {"left wall", "rear wall", "right wall", "front wall"}
    assert np.linalg.det(laid.turn) == pytest.approx(1.0), "left stays left"


def test_slopes_lie_left_and_right() -> None:
    """A slope over the short wall: that wall comes to lie on a side, and the room is wider than deep."""
    laid = room(slopes=(FoundSlope(1, 1.2, 0.7, 0.005, 0.005, 6.0),))
    assert laid.names[1] in ("left wall", "right wall")
    np.testing.assert_allclose(np.ptp(laid.corners, axis=0), [3.6, 4.4])


def test_another_wall_in_front() -> None:
    before = room().names
    turned = room("left")
    assert turned.names[before.index("left wall")] == "front wall"
    assert turned.names[before.index("front wall")] == "right wall"
    with pytest.raises(SceneError, match="the walls are"):
        room("north wall")


def test_a_tape_confirms() -> None:
    laid, readings, factor = taped(
        room(), [("left wall to right wall", "360.5 cm"), ("floor to ceiling", 2.5)], "m", "m", "x.ply"
    )
    assert factor == 1.0
    assert [(reading.tape_m, round(reading.scan_m, 6)) for reading in readings] == [(3.605, 3.6), (2.5, 2.5)]
    np.testing.assert_allclose(np.ptp(laid.corners, axis=0), [4.4, 3.6])


def test_a_tape_corrects_the_scale() -> None:
    laid, _, factor = taped(room(), [("depth", 4.48), ("rear wall to front wall", 4.48)], "m", "m", "x.ply")
    assert factor == pytest.approx(4.48 / 4.4)
    np.testing.assert_allclose(np.ptp(laid.corners, axis=0), [4.48, 3.6 * factor])
    assert laid.ceiling.height_m == pytest.approx(2.5 * factor)


@pytest.mark.parametrize(
    ("tape", "sentence"),
    [
        ([("depth", 4.9)], "check that tape reading"),
        ([("depth", 4.4 * 0.0254)], "say --unit in"),
        ([("width", 3.68), ("depth", 4.30)], "do not fit one scale"),
    ],
)
def test_a_tape_refuses(tape: list[tuple[str, float]], sentence: str) -> None:
    with pytest.raises(MeshError, match=sentence):
        taped(room(), tape, "m", "m", "x.ply")


@pytest.mark.parametrize(
    ("tape", "sentence"),
    [
        (("left wall to window", 3.6), "does not name two surfaces"),
        (("left wall to front wall", 3.6), "not opposite"),
        (("floor to left wall", 3.6), "not opposite"),
        (("depth", "four"), "is not a length"),
    ],
)
def test_a_tape_reading_that_says_nothing(tape: tuple[str, str | float], sentence: str) -> None:
    with pytest.raises(SceneError, match=sentence):
        taped(room(), [tape], "m", "m", "x.ply")
