"""What is made of walls that are not square: 45 degrees, mirrored, or left as the scan has them.  Invented walls."""

from __future__ import annotations

import numpy as np
import pytest

from sim.surveying.scan.records import ScannedWall
from sim.surveying.scan.regular_angles import WallDirection, regular_directions

BAY_DEG = np.array([270.0, 0.0, 315.0, 0.0, 45.0, 0.0, 90.0, 180.0])
"""Outward normals of a room with a bay: left, rear, splay, front of the bay, splay, rear, right, front."""
LENGTHS_M = np.array([5.0, 0.6, 0.9, 0.55, 0.9, 0.6, 5.0, 3.2])
ERRORS_DEG = np.array([0.3, 2.5, 1.5, 6.0, 1.5, 2.5, 0.3, 0.4])
SPLAYS, FRONT_OF_BAY = (2, 4), 3


def given(
    off_deg: dict[int, float], errors_deg: dict[int, float] | None = None, lengths_m: dict[int, float] | None = None
) -> tuple[list[WallDirection], np.ndarray]:
    """Kinds and angles in degrees of the bay, its walls off by so much; the room lies turned, as scans do."""
    angles, errors, lengths = BAY_DEG + 17.0, ERRORS_DEG.copy(), LENGTHS_M.copy()
    for values, changes in ((errors, errors_deg), (lengths, lengths_m)):
        for wall, value in (changes or {}).items():
            values[wall] = value
    for wall, value in off_deg.items():
        angles[wall] += value
    main = float(np.radians(17.0))
    found = regular_directions(np.radians(angles), np.radians(errors), lengths, main)
    for one, angle in zip(found, angles, strict=True):
        assert np.degrees(one.angle - one.turned) == pytest.approx(angle), "how far it was turned is said"
    return [one.kind for one in found], np.degrees([one.angle for one in found]) - 17.0


def test_a_bay_of_45_degrees_is_made_so() -> None:
    kinds, angles = given({2: 0.7, 4: -0.2})
    assert {kinds[wall] for wall in SPLAYS} == {"45 degrees"}
    np.testing.assert_allclose(angles, BAY_DEG)


def test_half_a_metre_of_wall_may_be_turned_farther() -> None:
    """Turned by 2.8 degrees the ends of 55 cm move by 13 mm; those of five metres would move by 12 cm."""
    kinds, angles = given({FRONT_OF_BAY: -2.8})
    assert kinds[FRONT_OF_BAY] == "square" and angles[FRONT_OF_BAY] == pytest.approx(0.0)
    assert given({0: -2.8}, {0: 6.0})[0][0] == "as scanned"


@pytest.mark.parametrize("wall", SPLAYS)
def test_a_wall_that_is_surely_not_at_45_degrees_stays(wall: int) -> None:
    kinds, angles = given({wall: 1.5}, {wall: 0.5}, {wall: 1.2})
    assert kinds[wall] == "as scanned"
    assert angles[wall] == pytest.approx(BAY_DEG[wall] + 1.5)


def test_both_sides_of_a_bay_get_one_angle() -> None:
    """36.0 and 36.8 degrees, equally sure: 36.4 degrees on both sides."""
    kinds, angles = given({2: 9.0, 4: -8.2})
    assert {kinds[wall] for wall in SPLAYS} == {"mirrored"}
    np.testing.assert_allclose(angles[list(SPLAYS)], [360.0 - 36.4, 36.4])


def test_what_one_wall_cannot_tell_two_can() -> None:
    """Each is 1.9 degrees from 45 and may be there; that both are off alike, by chance, is unlikely."""
    kinds, angles = given({2: 1.9, 4: -1.9}, {2: 0.9, 4: 0.9})
    assert {kinds[wall] for wall in SPLAYS} == {"mirrored"}
    np.testing.assert_allclose(angles[list(SPLAYS)], [360.0 - 43.1, 43.1])


def test_sides_that_do_not_agree_stay() -> None:
    kinds, _ = given({2: 9.0, 4: -4.0})
    assert {kinds[wall] for wall in SPLAYS} == {"as scanned"}
    kinds, _ = given({2: 9.0, 4: -8.2}, lengths_m={4: 1.4})
    assert {kinds[wall] for wall in SPLAYS} == {"as scanned"}, "one is half as long again"


@pytest.mark.parametrize(("direction", "unsure"), [("as scanned", True), ("45 degrees", False)])
def test_a_short_wall_whose_direction_nobody_knows_is_unsure(direction: WallDirection, unsure: bool) -> None:
    """Six degrees over 25 cm are 26 mm at its ends."""
    wall = ScannedWall("rear wall", (0.0, 0.0), (0.0, 0.5), 0.008, 6.0, 1.0, 0.0, 3.5, direction, 0.0)
    assert wall.unsure == unsure
