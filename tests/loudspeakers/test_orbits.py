"""Two orbits made whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.loudspeakers.orbits import on_orbits, whole_orbits


def ways(angles_deg: list[float], horizontal: list[bool]) -> np.ndarray:
    turned, flags = np.radians(angles_deg), np.array(horizontal)
    return np.column_stack([np.cos(turned), np.sin(turned) * flags, np.sin(turned) * ~flags])


def completed(horizontal: list[float], vertical: list[float]) -> tuple[dict[tuple[bool, float], complex], list[str]]:
    """Every angle with a value of its own, as (is horizontal, angle): value."""
    flags = [True] * len(horizontal) + [False] * len(vertical)
    angles = [*horizontal, *vertical]
    values = np.array([1.0 + 0.001 * n for n in range(len(angles))], dtype=complex)[:, None]
    directions, across, found, notes = whole_orbits(ways(angles, flags), np.array(flags), values)
    turned = np.degrees(np.arctan2(directions[:, 1] + directions[:, 2], directions[:, 0]))
    keys = [(bool(flag), float(round(angle))) for flag, angle in zip(across, turned, strict=True)]
    return dict(zip(keys, found[:, 0].tolist(), strict=True)), notes


def test_the_standard_measures_axis_and_rear_once() -> None:
    """ANSI/CTA-2034-A: seventy places, the vertical orbit without 0 and 180 degrees."""
    once = [float(angle) for angle in range(-170, 181, 10)]
    found, notes = completed(once, [angle for angle in once if angle not in (0.0, 180.0)])
    assert not notes
    assert len(found) == 72
    for angle in (0.0, -180.0):
        assert found[False, angle] == found[True, angle]


def test_one_side_is_mirrored_and_one_orbit_is_both() -> None:
    found, notes = completed([0.0, 10.0, 20.0], [])
    assert found[True, -20.0] == found[True, 20.0] == found[False, 20.0] == found[False, -20.0]
    assert notes == [
        "no vertical orbit was measured: it is taken to be like the horizontal one",
        "nothing was measured left: it is taken from the other side",
        "nothing was measured below: it is taken from the other side",
        "each orbit ends at 20 degrees: behind, it is bridged between its two ends",
    ]
    upright, notes = completed([], [0.0, -10.0])
    assert upright[True, 10.0] == upright[False, -10.0]
    assert "no horizontal orbit was measured: it is taken to be like the vertical one" in notes
    # the axis alone on one orbit, everything else on the other
    found, _ = completed([0.0], [20.0, 40.0])
    assert found[False, 0.0] == found[True, 0.0] == 1.0
    assert found[True, -40.0] == found[False, 40.0]


def test_steps_are_told_for_the_orbit_that_has_them() -> None:
    fine = [float(angle) for angle in range(-180, 180, 10)]
    _, notes = completed(fine, [float(angle) for angle in range(-180, 180, 30)])
    assert notes == [
        "the vertical orbit has steps of up to 30 degrees, where ANSI/CTA-2034-A asks for 10: straight lines are drawn "
        "in between"
    ]


def test_only_the_axis_is_too_little() -> None:
    with pytest.raises(ValueError, match="only the axis was measured"):
        completed([0.0, 180.0], [0.0])


@given(st.lists(st.floats(-180.0, 180.0), min_size=1, max_size=8), st.booleans())
def test_planes_through_the_axis_are_known(angles: list[float], aside: bool) -> None:
    directions = ways(angles, [number % 2 == 0 for number in range(len(angles))])
    flags = on_orbits(directions)
    assert flags is not None
    for way, flag in zip(directions, flags, strict=True):
        assert abs(way[2] if flag else way[1]) < 0.01
    if aside:
        assert on_orbits(np.concatenate([directions, [[0.0, 0.6, 0.8]]])) is None
