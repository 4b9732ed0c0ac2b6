import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from sim.loudspeakers.pistons import piston_directivity
from tests.builders.box_bem import ANGLES_DEG, BOXES, FREQUENCIES_HZ, reference
from tests.loudspeakers.cap import cap_coefficients, cap_directivity, cap_series

SPEED = 343.2


def hankel_slope(n: int, x: float) -> complex:
    return complex(spherical_jn(n, x, derivative=True), -spherical_yn(n, x, derivative=True))


def cap_written_out(theta: float, kr: float, half_angle: float) -> complex:
    """Rigid cap on a rigid sphere (Morse & Ingard 1968; Beranek & Mellow 2012), term by term with scipy's functions."""
    edge = math.cos(half_angle)
    total = 0j
    for n in range(int(kr + 6.0 * kr ** (1.0 / 3.0) + 20.0)):
        slope = hankel_slope(n, kr)
        if not np.isfinite(slope):
            break
        stroke = 0.5 * (1.0 - edge) if n == 0 else 0.5 * (eval_legendre(n - 1, edge) - eval_legendre(n + 1, edge))
        total += 1j**n * stroke * eval_legendre(n, math.cos(theta)) / slope
    return total


@pytest.mark.parametrize("kr", [0.1, 1.0, 5.0, 20.0, 60.0])
@pytest.mark.parametrize("half_angle", [0.05, 0.4, 1.3])
def test_the_series_agrees_with_scipy(kr: float, half_angle: float) -> None:
    angles = np.array([0.0, 0.7, 1.6, 2.4, 3.1])
    fast = cap_series(half_angle, np.cos(angles), [kr])[:, 0]
    slow = np.array([cap_written_out(angle, kr, half_angle) for angle in angles])
    assert fast / fast[0] == pytest.approx(slow / slow[0], abs=1e-9)


def test_a_vanishing_cap_is_a_point() -> None:
    kr = np.array([0.3, 4.0, 25.0])
    small, point = (cap_series(a, np.cos([0.0, 1.0, 2.5]), kr) for a in (2e-4, 0.0))
    assert small == pytest.approx(point, rel=1e-4, abs=1e-6)


def test_the_series_stands_large_and_small_boxes() -> None:
    kr = [0.0, 1e-3, 100.0, 200.0]
    assert np.isfinite(cap_series(0.2, [1.0, 0.7, 0.0, -1.0], kr)).all()
    assert np.isfinite(cap_directivity(0.2, [1.0, 0.7, 0.0, -1.0], kr)).all()
    assert cap_directivity(0.2, np.linspace(-1.0, 1.0, 9), [0.0]) == pytest.approx(1.0, abs=1e-5)


def test_a_large_sphere_is_a_baffle() -> None:
    """The cap tends to the piston (Morse & Ingard 1968) in front when the sphere grows and the driver does not."""
    radius, frequency = 0.05, 2000.0  # ka = 1.83
    cosines = np.cos(np.radians([10.0, 30.0, 45.0, 60.0]))
    piston = piston_directivity(radius, [frequency], cosines, SPEED)[:, 0]
    off_db = []
    for sphere in (0.4, 1.2, 3.6):
        kr = 2.0 * math.pi * frequency * sphere / SPEED
        cap = cap_directivity(math.asin(radius / sphere), cosines, [kr])[:, 0]
        off_db.append(np.abs(20.0 * np.log10(np.abs(cap) / piston)).max())
        assert np.abs(np.angle(cap)).max() < 0.25
    assert off_db[0] > off_db[1] > off_db[2]
    assert off_db[2] < 0.1


def directivity_index_db(half_angle: float, kr: float) -> float:
    """10 lg of axial intensity over the mean over the sphere, by adding up rings of the series."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    energy = np.abs(cap_series(half_angle, nodes, [kr])[:, 0]) ** 2
    return float(10.0 * np.log10(np.abs(cap_series(half_angle, [1.0], [kr])[0, 0]) ** 2 / (0.5 * weights @ energy)))


@pytest.mark.parametrize("kr", [0.01, 0.7, 5.0, 30.0])
def test_the_index_agrees_with_the_energy_of_each_order(kr: float) -> None:
    """Legendre polynomials are orthogonal: the mean of |sum a_n P_n|^2 over the sphere is sum |a_n|^2/(2n + 1)."""
    factors = cap_coefficients(0.4, [kr])[:, 0]
    mean = float((np.abs(factors) ** 2 / (2.0 * np.arange(len(factors)) + 1.0)).sum())
    expected = 10.0 * math.log10(abs(factors.sum()) ** 2 / mean)
    assert directivity_index_db(0.4, kr) == pytest.approx(expected, abs=1e-9)


def test_the_index_runs_from_zero_to_that_of_a_piston() -> None:
    assert directivity_index_db(0.4, 0.01) == pytest.approx(0.0, abs=0.002)
    # A baffle halves the space: 3 dB more than in the open once the sphere is large against the wavelength
    # (Beranek & Mellow 2012, (ka)^2/(1 - J1(2ka)/ka): 9.159 dB at ka = 3, 5.880 dB at ka = 2).
    for ka, index_db in ((2.0, 5.880), (3.0, 9.159)):
        half_angle = math.asin(1.0 / 60.0)
        assert directivity_index_db(half_angle, 60.0 * ka) == pytest.approx(index_db, abs=0.1)


def test_the_power_leaves_through_the_cap() -> None:
    """What arrives far away left at the surface: the power of pressure times velocity over the cap."""
    half_angle, kr = 0.5, 2.5
    edge = math.cos(half_angle)
    n = np.arange(40)
    stroke = np.array([quad(lambda x, n=i: 0.5 * (2 * n + 1) * eval_legendre(n, x), edge, 1.0)[0] for i in n])
    slope = np.array([hankel_slope(int(i), kr) for i in n])
    hankel = spherical_jn(n, kr) - 1j * spherical_yn(n, kr)
    # Surface pressure is -j rho c sum U_n P_n h_n/h_n'; with the velocity U_n P_n its mean power in units of rho c is
    at_surface = float(((-1j * hankel / slope).real * stroke**2 / (2 * n + 1)).sum())
    far = float((np.abs(stroke / slope) ** 2 / (2 * n + 1)).sum()) / kr**2
    assert at_surface == pytest.approx(far, rel=1e-9)
    ours = np.abs(cap_coefficients(half_angle, [kr])[:, 0]) ** 2
    expected = np.abs(stroke / slope) ** 2
    assert ours[:15] / ours[0] == pytest.approx(expected[:15] / expected[0], rel=1e-6)


@settings(deadline=None, max_examples=30)
@given(half_angle=st.floats(0.0, 1.0), kr=st.floats(0.05, 60.0), off=st.floats(0.0, 1.5))
def test_the_table_is_the_series_in_front(half_angle: float, kr: float, off: float) -> None:
    exact = cap_series(half_angle, [1.0, math.cos(off)], [kr])[:, 0]
    relative = exact[1] / exact[0] * np.exp(1j * kr * (1.0 - math.cos(off)))
    found = cap_directivity(half_angle, [math.cos(off)], [kr])[0, 0]
    if abs(relative) > 10.0 ** (-30.0 / 20.0):
        assert abs(20.0 * math.log10(abs(found / relative))) < 0.05
        assert abs(np.angle(found / relative)) < 0.01


def test_a_radius_may_change_with_frequency() -> None:
    cosines, kr = np.cos([0.4, 1.4]), np.array([3.0, 7.0])
    together = cap_directivity(np.array([0.5, 0.1]), cosines, kr)
    assert together[:, 0] == pytest.approx(cap_directivity(0.5, cosines, kr[:1])[:, 0], abs=1e-9)
    assert together[:, 1] == pytest.approx(cap_directivity(0.1, cosines, kr[1:])[:, 0], abs=1e-9)


def test_behind_only_the_bright_spot_is_dulled() -> None:
    angles = np.radians([95.0, 130.0, 180.0])
    kr = 10.0
    sharp = np.abs(cap_series(0.1, np.concatenate([[1.0], np.cos(angles)]), [kr])[:, 0])
    found = np.abs(cap_directivity(0.1, np.cos(angles), [kr])[:, 0])
    change_db = 20.0 * np.log10(found / (sharp[1:] / sharp[0]))
    assert abs(change_db[0]) < 0.1
    assert change_db[2] < -3.0


def test_sound_behind_is_late_by_its_way_round() -> None:
    """Creeping round a quarter of the sphere and off at its side: (pi/2 - 1) R longer than through the box."""
    sphere = 0.15
    frequencies = np.array([5000.0, 5100.0])
    kr = 2.0 * np.pi * frequencies * sphere / SPEED
    phase = np.unwrap(np.angle(cap_directivity(0.0, [-1.0], kr)[0]))
    late_m = -(phase[1] - phase[0]) / (2.0 * np.pi * 100.0) * SPEED
    assert late_m == pytest.approx((0.5 * math.pi - 1.0) * sphere, rel=0.15)


def rms_db(part: str, rows: slice, frequencies: list[float]) -> float:
    """Error against boundary-element solutions of boxes with edges, levels under -25 dB cut, over all boxes."""
    squares = []
    for name, box in BOXES.items():
        for disc, radius, _ in box.discs:
            if disc != part:
                continue
            width, height, depth = box.size_m
            sphere = (0.75 * width * height * depth / math.pi) ** (1.0 / 3.0)
            exact = reference(name, disc)
            for f in frequencies:
                kr = 2.0 * math.pi * f * sphere / SPEED
                model = cap_directivity(math.asin(radius / sphere), np.cos(np.radians(ANGLES_DEG)), [kr])[:, 0]
                level = np.maximum(20.0 * np.log10(np.abs(exact[FREQUENCIES_HZ.index(f)])), -25.0)
                squares.append((20.0 * np.log10(np.abs(model)) - level)[:, rows] ** 2)
    return float(np.sqrt(np.mean(squares)))


FRONT, BEHIND = slice(0, 10), slice(13, 19)
LOW, HIGH = [125.0, 250.0], [1000.0, 1414.0, 2000.0]


@pytest.mark.parametrize("part", ["woofer", "tweeter"])
def test_against_boxes_with_edges(part: str) -> None:
    """The bounds are what the module's head says; edges make the difference, and nothing here hides it."""
    assert rms_db(part, FRONT, LOW) < 0.4
    assert rms_db(part, BEHIND, LOW) < 0.4
    assert rms_db(part, FRONT, [500.0]) < 1.2
    assert rms_db(part, BEHIND, [500.0]) < 1.3
    assert rms_db(part, FRONT, HIGH) < 2.5
    assert rms_db(part, BEHIND, HIGH) < 4.0
