"""The window of the response at the ear: every path inside it, whatever its order; late energy after it."""

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.mirrors.image_sources import trace_paths, trace_within
from sim.responses.frequency import ear_response
from sim.responses.window import fill_window, late_energy_db, window_weight
from tests.room_texts import room_text

SPEED = 343.0


def box() -> BuiltScene:
    return build_scene(
        parse_scene(
            room_text((3.3, 4.1, 2.5), (2.6, 1.5, 1.2), {"left": (0.9, 0.8, 1.1), "right": (0.9, 2.3, 1.3)}), Path()
        ).blueprint,
        Path(),
    )


def lattice(source: np.ndarray, ear: np.ndarray, longest_m: float, size: np.ndarray) -> np.ndarray:
    """Lengths (n,) of all images of a box: 2 n L + s or 2 n L - s on each axis.

    Allen and Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950, equation (6); a plain sum, no shared code.
    """
    reach = int(longest_m / size.min() / 2.0) + 2
    axes = [
        [2.0 * n * size[a] + sign * source[a] for n in range(-reach, reach + 1) for sign in (1.0, -1.0)]
        for a in range(3)
    ]
    far = np.array([np.linalg.norm(np.array(image) - ear) for image in product(*axes)])
    return np.sort(far[far <= longest_m])


@pytest.mark.parametrize("extra_ms", [15.0, 20.0, 40.0])
def test_a_box_has_every_image_of_the_lattice_whatever_its_order(extra_ms: float) -> None:
    built = box()
    extra = extra_ms / 1000.0 * SPEED
    found = trace_within(built, extra)
    assert found.complete
    corner = built.room.triangles.reshape(-1, 3).min(axis=0)
    size = np.ptp(built.room.triangles.reshape(-1, 3), axis=0)
    for s, one in enumerate(built.loudspeakers):
        for d, source in enumerate(one.driver_points):
            mine = (found.paths.loudspeaker == s) & (found.paths.driver == d) & (found.paths.listener == 0)
            longest = float(np.linalg.norm(built.ears[0] - source)) + extra
            expected = lattice(source - corner, built.ears[0] - corner, longest, size)
            assert np.sort(found.paths.length_m[mine]) == pytest.approx(expected, abs=1e-9)
    assert found.paths.order.max() >= 4


def test_what_is_found_within_a_time_is_what_six_mirrors_find_and_more() -> None:
    built = box()
    within, plain = trace_within(built, 5.0).paths, trace_paths(built, 6)
    direct = np.array([np.linalg.norm(built.ears[0] - one.driver_points[0]) for one in built.loudspeakers])
    near = np.flatnonzero((plain.listener == 0) & (plain.length_m <= direct[plain.loudspeaker] + 5.0))
    of_six = np.flatnonzero((within.order <= 6) & (within.listener == 0))
    assert np.sort(within.length_m[of_six]) == pytest.approx(np.sort(plain.length_m[near]), abs=1e-9)


def test_the_windowed_response_does_not_depend_on_the_order_that_is_listed() -> None:
    """The curve says 20 ms: whatever order the list has, the same paths are in it."""
    built = box()
    totals = []
    for order in (1, 3, 6):
        paths, window = fill_window(built, trace_paths(built, order), 20.0)
        totals.append(ear_response(built, paths, None, window).total)
        assert window.window_ms == 20.0
        assert window.most_mirrors > 3
    assert totals[1] == pytest.approx(totals[0], abs=1e-9)
    assert totals[2] == pytest.approx(totals[0], abs=1e-9)


def test_a_sum_to_three_mirrors_is_not_the_window() -> None:
    """The check above can fail: the old sum differs by decibels."""
    built = box()
    paths, window = fill_window(built, trace_paths(built, 3), 20.0)
    whole = ear_response(built, paths, None, window).levels.whole_db[0, 0, 0]
    old = ear_response(built, trace_paths(built, 3), None, window).levels.whole_db[0, 0, 0]
    assert np.abs(whole - old).max() > 0.5


def test_the_window_fades_and_never_jumps() -> None:
    late = np.linspace(0.0, 30.0, 30001)
    weight = window_weight(late, 20.0)
    assert (weight[late <= 20.0] == 1.0).all()
    assert (weight[late >= 22.0] < 1e-30).all()
    assert np.abs(np.diff(weight)).max() < 1e-3


def test_late_energy_falls_with_the_window_and_is_less_than_all() -> None:
    built = box()
    _, short = late_energy_db(built, 10.0, 1)
    _, long = late_energy_db(built, 40.0, 1)
    assert (long < short).all()
