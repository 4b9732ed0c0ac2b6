"""Drivers as discs in cabinets, against a disc in a wall and boundary elements of others."""

from __future__ import annotations

import numpy as np
import pytest

from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.loudspeakers.loudspeaker import cabinet_corners
from sim.machine.processes import one_blas_thread
from sim.propagation.waves.drivers import Disc, LoneCabinet, even_directions, fitted, harmonics
from sim.propagation.waves.elements import box_elements
from sim.propagation.waves.problem import inner_points
from tests.builders.box_bem import FREQUENCIES_HZ, directions, reference
from tests.builders.plate_bem import SPEED_M_S

CORNERS = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]]) - 0.5


@pytest.mark.parametrize("driver", [0, 1])
@pytest.mark.parametrize("number", [0, 1, 2, 3])
def test_a_lone_cabinet_sends_what_other_boundary_elements_say(number: int, driver: int) -> None:
    """To 0.5 dB and 8 degrees from 125 Hz to 1 kHz, where plane waves fall on the same box: what both meshes miss."""
    model = generic_loudspeaker("two-way", name="demo")
    lone = LoneCabinet(model, 0.045)
    k = complex(2.0 * np.pi * FREQUENCIES_HZ[number] / SPEED_M_S)
    with one_blas_thread():
        sent = lone.sends(k, directions())[driver]
    wanted = reference("5-inch two-way", ("woofer", "tweeter")[driver])[number].ravel()
    ratio = sent[:-1] / sent[-1] / wanted
    assert np.abs(20.0 * np.log10(np.abs(ratio))).max() < 0.5
    assert np.abs(np.degrees(np.angle(ratio))).max() < 8.0


@pytest.mark.parametrize("frequency_hz", [1347.0, 1500.0])
def test_a_resonance_inside_a_cabinet_does_its_woofer_little_harm(frequency_hz: float) -> None:
    """The inside of 18 x 29 x 23 cm first rings at 1347 Hz; off by 0.4 and 0.5 dB with points inside held to 0.

    Now by 0.2 and, since an element far away is one point, 0.33 dB.
    """
    model = generic_loudspeaker("two-way", name="demo")
    corners = cabinet_corners(model)
    assert corners is not None
    inner = inner_points(np.array([corners]), (), 1600.0, 343.0)
    k, ways, found = complex(2.0 * np.pi * frequency_hz / 343.0, -100.0 / 343.0), even_directions()[::4], []
    with one_blas_thread():
        for longest in (0.05, 0.025):
            sent = LoneCabinet(model, longest, inner).sends(k, ways)[0]
            found.append(20.0 * np.log10(np.abs(sent[:-1] / sent[-1])))
    assert np.sqrt(((found[0] - found[1]) ** 2).mean()) < 0.35


def test_directions_are_alike_left_and_right() -> None:
    ways = even_directions()
    away = np.linalg.norm(ways[:, None] * [1.0, -1.0, 1.0] - ways[None], axis=2)
    assert away.min(axis=1).max() < 1e-12
    assert (away < 1e-6).sum() == len(ways)


def test_sound_of_a_disc_on_its_axis_is_that_of_a_piston() -> None:
    """Mean of e^{-jkr}/r over a disc seen from its axis: 2 (e^{-jkz} - e^{-jk s}) / (jk a2), s2 = z2 + a2.

    The integral behind the on-axis pressure of a piston in a wall (Kinsler et al., Fundamentals of Acoustics, 7.4).
    """
    radius, k, z = 0.06, 20.0 - 0.3j, 0.11
    elements = box_elements(CORNERS * 0.4 - [0.2, 0.0, 0.0], 0.1)
    place = np.array([[z, 0.0, 0.0], [0.5 * z, 0.0, 0.0]])
    disc = Disc(np.zeros(3), np.eye(3), radius, elements, [np.concatenate([elements.middles, place])])
    found = disc.falls(k, ())[len(elements) :]
    away = place[:, 0]
    wanted = 2.0 * (np.exp(-1j * k * away) - np.exp(-1j * k * np.hypot(away, radius))) / (1j * k * radius**2)
    np.testing.assert_allclose(found, wanted, rtol=5e-3)


def test_harmonics_fit_what_a_cabinet_sends() -> None:
    way = np.array([0.3, 0.5, 0.81])
    ahead = np.random.default_rng(1).normal(size=(40, 3))
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    coefficients = fitted(np.exp(2.5j * (even_directions() @ way)), even_directions())
    np.testing.assert_allclose(harmonics(ahead) @ coefficients, np.exp(2.5j * (ahead @ way)), atol=1e-3)
