"""How much of a path a panel governs: Fresnel products, brute-force integrals, limits, and no switching anywhere."""

import cmath
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import fresnel

from sim.acoustics.patches import effective_reflection, first_zone_half_axes_m, fraction_of_panel, panel_on_wall_axes

SPEED = 343.2
OCTAVES = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0]

distances = st.floats(0.3, 8.0)
cosines = st.floats(0.1, 1.0)
frequencies = st.floats(20.0, 20_000.0)
places = st.floats(-3.0, 3.0)


def rectangle(along: tuple[float, float], across: tuple[float, float]) -> np.ndarray:
    return np.array([[along[0], across[0]], [along[1], across[0]], [along[1], across[1]], [along[0], across[1]]])


def product_of_fresnel_integrals(
    along: tuple[float, float], across: tuple[float, float], d1: float, d2: float, cosine: float, frequency: float
) -> complex:
    """Rindel (1986): both directions apart, C and S with pi t^2/2, each over the whole line 1 - j."""
    wavelength = SPEED / frequency
    middle = 2.0 * d1 * d2 / (d1 + d2)
    total = 1.0 + 0.0j
    for (low, high), stretch in ((along, cosine), (across, 1.0)):
        s_low, c_low = fresnel(2.0 * low * stretch / math.sqrt(wavelength * middle))
        s_high, c_high = fresnel(2.0 * high * stretch / math.sqrt(wavelength * middle))
        total *= ((c_high - c_low) - 1j * (s_high - s_low)) / (1.0 - 1j)
    return total


def double_integral(corners: np.ndarray, d1: float, d2: float, cosine: float, frequency: float) -> complex:
    """Strips of a convex polygon, each a Fresnel integral along it, added by adaptive quadrature."""
    factor = math.pi * frequency / SPEED * (1.0 / d1 + 1.0 / d2)

    def strip(v: float) -> complex:
        met = []
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            if min(a[1], b[1]) <= v <= max(a[1], b[1]) and a[1] != b[1]:
                met.append(a[0] + (b[0] - a[0]) * (v - a[1]) / (b[1] - a[1]))
        if len(met) < 2:
            return 0.0j
        scale = cosine * math.sqrt(factor) * math.sqrt(2.0 / math.pi)
        s_low, c_low = fresnel(min(met) * scale)
        s_high, c_high = fresnel(max(met) * scale)
        along = math.sqrt(math.pi / 2.0) / (cosine * math.sqrt(factor)) * ((c_high - c_low) - 1j * (s_high - s_low))
        return along * cmath.exp(-1j * factor * v * v)

    kinks = sorted(set(corners[:, 1]))
    total = 0.0j
    for low, high in pairwise(kinks):
        real = quad(lambda v: strip(v).real, low, high, limit=400, epsabs=1e-11)[0]
        total += real + 1j * quad(lambda v: strip(v).imag, low, high, limit=400, epsabs=1e-11)[0]
    return total / (-1j * math.pi / (factor * cosine))


def turned(corners: np.ndarray, angle: float) -> np.ndarray:
    return corners @ np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])


def level_db(fraction: np.ndarray) -> list[float]:
    return list(20.0 * np.log10(np.abs(fraction)))


def test_worked_levels_of_a_square_metre() -> None:
    # Rindel, Applied Acoustics 19 (1986): 1 x 1 m, 2 m to either side, normal incidence, hit in the middle.
    fraction = fraction_of_panel(rectangle((-0.5, 0.5), (-0.5, 0.5)), 2.0, 2.0, 1.0, OCTAVES, SPEED)
    assert level_db(fraction) == pytest.approx([-8.836, -3.005, 2.249, 5.112, -1.976, 2.709, -2.381], abs=0.002)


def test_worked_levels_of_a_desk() -> None:
    # The same method: 0.6 m (in the plane of incidence) x 1.5 m, 0.6 and 0.9 m away, 53.13 degrees.
    fraction = fraction_of_panel(rectangle((-0.3, 0.3), (-0.75, 0.75)), 0.6, 0.9, 0.6, OCTAVES, SPEED)
    assert level_db(fraction) == pytest.approx([-6.514, -4.540, -2.655, 0.942, 2.593, 1.705, -0.621], abs=0.002)


@pytest.mark.parametrize(
    ("sides", "path", "kirchhoff", "within"),
    [
        ((0.5, 0.5), (2.0, 2.0, 1.0), [-9.156, -3.459, 1.805, 4.853, -1.612, 2.744, -2.361], 0.5),
        ((0.3, 0.75), (0.6, 0.9, 0.6), [-7.844, -4.491, -3.709, -0.614, 2.013, 1.533, -0.360], 2.0),
    ],
)
def test_how_far_the_full_kirchhoff_integral_is(
    sides: tuple[float, float], path: tuple[float, float, float], kirchhoff: list[float], within: float
) -> None:
    """Levels by direct integration of the path without expansion: what the expansion of its length costs."""
    corners = rectangle((-sides[0], sides[0]), (-sides[1], sides[1]))
    assert level_db(fraction_of_panel(corners, *path, OCTAVES, SPEED)) == pytest.approx(kirchhoff, abs=within)


@given(
    along=st.tuples(places, places).filter(lambda s: abs(s[0] - s[1]) > 1e-3).map(lambda s: (min(s), max(s))),
    across=st.tuples(places, places).filter(lambda s: abs(s[0] - s[1]) > 1e-3).map(lambda s: (min(s), max(s))),
    d1=distances,
    d2=distances,
    cosine=cosines,
    frequency=frequencies,
)
def test_upright_rectangles_are_products_of_fresnel_integrals(
    along: tuple[float, float], across: tuple[float, float], d1: float, d2: float, cosine: float, frequency: float
) -> None:
    fraction = complex(fraction_of_panel(rectangle(along, across), d1, d2, cosine, [frequency], SPEED)[0])
    expected = product_of_fresnel_integrals(along, across, d1, d2, cosine, frequency)
    assert fraction == pytest.approx(expected, abs=1e-9)


@settings(max_examples=25, deadline=None)
@given(
    angle=st.floats(0.05, 1.5),
    centre=st.tuples(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0)),
    sides=st.tuples(st.floats(0.2, 1.2), st.floats(0.2, 1.2)),
    cosine=st.floats(0.3, 1.0),
    frequency=st.floats(50.0, 4000.0),
)
def test_turned_rectangles_are_the_double_integral(
    angle: float, centre: tuple[float, float], sides: tuple[float, float], cosine: float, frequency: float
) -> None:
    corners = turned(rectangle((-sides[0], sides[0]), (-sides[1], sides[1])), angle) + np.array(centre)
    fraction = complex(fraction_of_panel(corners, 1.2, 2.1, cosine, [frequency], SPEED)[0])
    assert fraction == pytest.approx(double_integral(corners, 1.2, 2.1, cosine, frequency), abs=1e-6)


@given(angle=st.floats(0.0, 6.3), frequency=frequencies)
def test_at_normal_incidence_only_the_shape_counts_not_its_turn(angle: float, frequency: float) -> None:
    corners = rectangle((-0.4, 0.7), (-0.2, 0.5))
    plain = fraction_of_panel(corners, 1.0, 2.0, 1.0, [frequency], SPEED)
    assert np.allclose(fraction_of_panel(turned(corners, angle), 1.0, 2.0, 1.0, [frequency], SPEED), plain, atol=1e-9)


@given(cut=st.floats(-0.9, 0.9), slope=st.floats(-0.5, 0.5), frequency=frequencies, cosine=cosines)
def test_two_halves_add_up_to_the_panel(cut: float, slope: float, frequency: float, cosine: float) -> None:
    whole = rectangle((-1.0, 1.0), (-0.3, 0.6))
    low, high = cut - 0.1 * slope, cut + 0.1 * slope
    left = np.array([[-1.0, -0.3], [low, -0.3], [high, 0.6], [-1.0, 0.6]])
    right = np.array([[low, -0.3], [1.0, -0.3], [1.0, 0.6], [high, 0.6]])
    fractions = [
        complex(fraction_of_panel(part, 1.5, 1.1, cosine, [frequency], SPEED)[0]) for part in (whole, left, right)
    ]
    assert fractions[0] == pytest.approx(fractions[1] + fractions[2], abs=1e-9)


@pytest.mark.parametrize("order", [[3, 2, 1, 0], [2, 3, 0, 1], [0, 3, 2, 1]])
def test_either_way_round_is_the_same_panel(order: list[int]) -> None:
    corners = rectangle((-0.4, 0.7), (-0.2, 0.5))
    plain = fraction_of_panel(corners, 1.0, 2.0, 0.7, OCTAVES, SPEED)
    assert np.allclose(fraction_of_panel(corners[order], 1.0, 2.0, 0.7, OCTAVES, SPEED), plain, atol=1e-12)


@given(d1=distances, d2=distances, cosine=cosines, angle=st.floats(0.0, 6.3))
def test_a_large_panel_is_the_whole_wall_and_half_at_its_edge(
    d1: float, d2: float, cosine: float, angle: float
) -> None:
    huge = turned(rectangle((-1000.0, 1000.0), (-1000.0, 1000.0)), angle)
    assert np.allclose(fraction_of_panel(huge, d1, d2, cosine, OCTAVES, SPEED), 1.0, atol=0.03)
    half = turned(rectangle((0.0, 1000.0), (-1000.0, 1000.0)), angle)
    assert np.allclose(fraction_of_panel(half, d1, d2, cosine, OCTAVES, SPEED), 0.5, atol=0.03)
    corner = rectangle((0.0, 1000.0), (0.0, 1000.0))
    assert np.allclose(fraction_of_panel(corner, d1, d2, cosine, OCTAVES, SPEED), 0.25, atol=0.03)
    away = turned(rectangle((200.0, 1000.0), (-1000.0, 1000.0)), angle)
    assert np.allclose(fraction_of_panel(away, d1, d2, cosine, OCTAVES, SPEED), 0.0, atol=0.03)


def test_on_its_edge_a_panel_is_six_decibels_down() -> None:
    half = fraction_of_panel(rectangle((0.0, 4000.0), (-4000.0, 4000.0)), 1.0, 1.0, 1.0, [4000.0], SPEED)
    assert 20.0 * math.log10(abs(half[0])) == pytest.approx(-6.021, abs=0.01)


@given(
    start=st.floats(-2.0, 2.0),
    side=st.floats(0.1, 2.0),
    angle=st.floats(0.0, 3.2),
    cosine=cosines,
    frequency=st.floats(50.0, 8000.0),
)
def test_nothing_switches_as_a_panel_slides_off(
    start: float, side: float, angle: float, cosine: float, frequency: float
) -> None:
    """A tenth of a millimetre moves the share by no more than its steepest slope allows."""
    corners = turned(rectangle((start, start + side), (-0.5, 0.3)), angle)
    moved = corners + np.array([1e-4, 0.0])
    change = fraction_of_panel(moved, 1.5, 1.0, cosine, [frequency], SPEED) - fraction_of_panel(
        corners, 1.5, 1.0, cosine, [frequency], SPEED
    )
    # d|F|/du: the edges of the panel pass over sqrt(k/2 (1/d1 + 1/d2)/pi) each, times at most 1.2 across.
    steepest = math.sqrt(math.pi * frequency / SPEED * (1.0 / 1.5 + 1.0) / math.pi)
    assert abs(change[0]) <= 1e-4 * 4.0 * 1.2**2 * steepest


def test_the_mirror_point_on_a_corner_or_an_edge_is_no_trouble() -> None:
    for corners in (rectangle((0.0, 1.0), (0.0, 1.0)), rectangle((0.0, 1.0), (-1.0, 1.0))):
        on = fraction_of_panel(corners, 1.0, 1.0, 0.8, OCTAVES, SPEED)
        beside = fraction_of_panel(corners + 1e-7, 1.0, 1.0, 0.8, OCTAVES, SPEED)
        assert np.allclose(on, beside, atol=1e-5)


def test_panels_without_area_do_nothing() -> None:
    line = np.array([[0.0, 0.0], [1.0, 0.0], [0.5, 0.0]])
    assert not fraction_of_panel(line, 1.0, 1.0, 1.0, OCTAVES, SPEED).any()
    doubled = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    plain = fraction_of_panel(rectangle((-1.0, 1.0), (-1.0, 1.0)), 1.0, 1.0, 1.0, OCTAVES, SPEED)
    assert np.allclose(fraction_of_panel(doubled, 1.0, 1.0, 1.0, OCTAVES, SPEED), plain)


def test_worked_half_axes_of_the_first_zone() -> None:
    # sqrt(lambda a1 a2/(a1 + a2)) across, over cos t along.
    worked = [
        (1.0, 1.0, 1.0, 1000.0, 0.4142, 0.4142),
        (1.0, 1.0, 1.0, 4000.0, 0.2071, 0.2071),
        (0.6, 0.9, 0.6, 1000.0, 0.3515, 0.5858),
        (0.75, 0.75, 0.6, 1000.0, 0.3587, 0.5979),
        (0.75, 0.75, 0.6, 4000.0, 0.1794, 0.2990),
        (1.5, 1.5, math.sqrt(0.5), 1000.0, 0.5073, 0.7175),
    ]
    for d1, d2, cosine, frequency, across, along in worked:
        half_axes = first_zone_half_axes_m([frequency], d1, d2, cosine, SPEED)
        assert [float(axis[0]) for axis in half_axes] == pytest.approx([along, across], abs=1e-4)


def test_the_first_zone_is_near_the_ellipse_where_the_path_is_half_a_wavelength_longer() -> None:
    # Exact spheroid cut by the wall: 0.5298 m along and 0.3689 m across at 1 kHz, 0.75 + 0.75 m, 53.13 degrees.
    along, across = (float(axis[0]) for axis in first_zone_half_axes_m([1000.0], 0.75, 0.75, 0.6, SPEED))
    assert along == pytest.approx(0.5298, rel=0.15)
    assert across == pytest.approx(0.3689, rel=0.15)
    source, ear = np.array([-0.6, 0.0, 0.45]), np.array([0.6, 0.0, 0.45])
    for exact in ([0.5298, 0.0, 0.0], [0.0, 0.3689, 0.0]):
        longer = np.linalg.norm(source - exact) + np.linalg.norm(ear - exact) - 1.5
        assert longer == pytest.approx(0.5 * SPEED / 1000.0, abs=1e-4)


directions = st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)).filter(
    lambda v: 0.1 < sum(x * x for x in v) < 1.0
)


@given(normal=directions, ray=directions)
def test_wall_axes_keep_lengths_and_find_the_angle(
    normal: tuple[float, float, float], ray: tuple[float, float, float]
) -> None:
    unit, arriving = np.array(normal) / np.linalg.norm(normal), np.array(ray) / np.linalg.norm(ray)
    if abs(unit @ arriving) < 1e-3:
        return
    any_axis = np.cross(unit, np.eye(3)[int(np.argmin(np.abs(unit)))])
    any_axis /= np.linalg.norm(any_axis)
    other = np.cross(unit, any_axis)
    point = np.array([1.0, 2.0, 3.0])
    corners = point + np.array([[0.3, 0.1], [1.3, 0.1], [0.3, 2.1]]) @ np.array([any_axis, other])
    flat, cosine = panel_on_wall_axes(corners, point, 3.0 * arriving, -2.0 * unit)
    assert cosine == pytest.approx(abs(unit @ arriving))
    for a in range(3):
        assert np.linalg.norm(flat[a]) == pytest.approx(np.linalg.norm(corners[a] - point), abs=1e-9)
        # The coordinate along the plane of incidence is what changes the length of the way in.
        sine = math.sqrt(max(1.0 - cosine**2, 0.0))
        assert (corners[a] - point) @ arriving == pytest.approx(flat[a, 0] * sine, abs=1e-7)


def test_normal_incidence_has_any_two_axes() -> None:
    flat, cosine = panel_on_wall_axes([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0]], [0.0, 0.0, 0.0], [-1, 0, 0], [1, 0, 0])
    assert cosine == 1.0
    assert np.linalg.norm(flat, axis=1) == pytest.approx([1.0, 1.0])
    assert flat[0] @ flat[1] == pytest.approx(0.0)


def test_quadratic_phase_is_the_path_length_of_near_points() -> None:
    """From geometry alone: the extra way by a point near the mirror point is (u^2 cos^2 t + v^2)(1/d1 + 1/d2)/2."""
    source, ear, normal = np.array([1.5, 0.2, 0.9]), np.array([2.0, 2.2, 1.3]), np.array([1.0, 0.0, 0.0])
    image = source * [-1.0, 1.0, 1.0]
    mirror = image + (ear - image) * (-image[0] / (ear[0] - image[0]))
    d1, d2 = np.linalg.norm(mirror - source), np.linalg.norm(ear - mirror)
    near = mirror + 0.01 * np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.5]])
    flat, cosine = panel_on_wall_axes(near, mirror, mirror - source, normal)
    for point, (u, v) in zip(near, flat, strict=True):
        extra = np.linalg.norm(point - source) + np.linalg.norm(ear - point) - d1 - d2
        assert extra == pytest.approx(0.5 * (u**2 * cosine**2 + v**2) * (1.0 / d1 + 1.0 / d2), rel=0.02)


def test_several_panels_add_what_they_change() -> None:
    wall, wool, door = 0.98, np.array([0.5, 0.2]), -0.3j
    inside, beside = np.array([0.7 + 0.1j, 0.9]), np.array([0.2, 0.05j])
    both = effective_reflection(wall, (wool, inside), (door, beside))
    assert both == pytest.approx(wall + (wool - wall) * inside + (door - wall) * beside)
    assert effective_reflection(wall) == pytest.approx(wall)
    assert effective_reflection(wall, (wool, 1.0)) == pytest.approx(wool)


@given(fraction=st.complex_numbers(max_magnitude=1.5, allow_nan=False))
def test_a_panel_of_the_wall_itself_changes_nothing(fraction: complex) -> None:
    assert effective_reflection(0.9 - 0.1j, (0.9 - 0.1j, fraction)) == pytest.approx(0.9 - 0.1j)


def test_what_cannot_be_is_refused() -> None:
    square = rectangle((-1.0, 1.0), (-1.0, 1.0))
    with pytest.raises(ValueError, match="three or more rows of two"):
        fraction_of_panel(square[:2], 1.0, 1.0, 1.0, OCTAVES, SPEED)
    with pytest.raises(ValueError, match="all must be above zero"):
        fraction_of_panel(square, 0.0, 1.0, 1.0, OCTAVES, SPEED)
    with pytest.raises(ValueError, match="all must be above zero"):
        first_zone_half_axes_m(OCTAVES, 1.0, 1.0, 0.0, SPEED)
    with pytest.raises(ValueError, match="runs along the wall"):
        panel_on_wall_axes(np.eye(3), np.zeros(3), [0, 1, 0], [1, 0, 0])
    with pytest.raises(ValueError, match="has no length; give a direction"):
        panel_on_wall_axes(np.eye(3), np.zeros(3), [0, 0, 0], [1, 0, 0])
