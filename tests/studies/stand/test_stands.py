"""Springs, fillings and tip angles against a pencil and a handbook."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.stand.pieces import (
    FILLINGS_KG_PER_L,
    axis_over_foot_m,
    fill_masses_kg,
    isolates_from_hz,
    spring_frequency_hz,
    tip_angle_deg,
    wedge_m,
)


def test_tip_angle_by_hand() -> None:
    """100 mm to the edge, 100 mm up: 45 degrees; on the edge: none; beyond it: it falls."""
    assert tip_angle_deg(0.1, 0.1) == pytest.approx(45.0)
    assert tip_angle_deg(0.0, 0.5) == pytest.approx(0.0)
    assert tip_angle_deg(-0.05, 0.5) == pytest.approx(-math.degrees(math.atan(0.1)))


@pytest.mark.parametrize(("deflection_mm", "hz"), [(1.0, 15.76), (4.0, 7.88), (25.0, 3.152)])
def test_spring_frequency_by_the_handbook(deflection_mm: float, hz: float) -> None:
    """15.76/sqrt(d in mm), the form in which vibration handbooks give it (g = 9.81 m/s2)."""
    assert spring_frequency_hz(deflection_mm / 1000.0) == pytest.approx(hz, rel=5e-4)


def test_a_spring_passes_on_as_much_as_it_is_given_at_the_root_of_two() -> None:
    """Transmission 1/|1 - (f/f0)^2| without losses is 1 at f = sqrt(2) f0 and less above."""
    own = spring_frequency_hz(0.002)
    edge = isolates_from_hz(0.002)
    assert edge / own == pytest.approx(1.41, abs=0.005)
    assert abs(1.0 / (1.0 - (edge / own) ** 2)) == pytest.approx(1.0)
    assert abs(1.0 / (1.0 - (1.1 * edge / own) ** 2)) < 1.0 < abs(1.0 / (1.0 - (0.9 * edge / own) ** 2))


@pytest.mark.parametrize("deflection", [0.0, -0.001, float("nan")])
def test_a_spring_that_does_not_give_way_is_none(deflection: float) -> None:
    with pytest.raises(ValueError, match="a spring gives way by more than zero"):
        spring_frequency_hz(deflection)


def test_four_litres_of_sand() -> None:
    assert fill_masses_kg(0.004)["dry sand"] == pytest.approx(6.4)
    assert set(fill_masses_kg(0.004)) == set(FILLINGS_KG_PER_L)


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5), st.floats(-20.0, 20.0))
def test_the_axis_of_a_tilted_box_is_its_corner_turned(up: float, ahead: float, tilt: float) -> None:
    """A point (ahead, up) of the edge, turned nose down by the tilt as a complex number."""
    turned = complex(ahead, up) * complex(math.cos(math.radians(tilt)), -math.sin(math.radians(tilt)))
    assert axis_over_foot_m(up, ahead, tilt) == pytest.approx(turned.imag, abs=1e-12)


def test_a_wedge_by_hand() -> None:
    assert wedge_m(0.2, 30.0) == wedge_m(0.2, -30.0) == pytest.approx(0.1)


@pytest.mark.parametrize(("foot_m", "height_m", "degrees"), [(0.15, 1.05, 8.1301), (0.15, 0.77667, 10.931)])
def test_tip_angles_of_a_stand(foot_m: float, height_m: float, degrees: float) -> None:
    """Statics: atan(0.15/1.05), and 8 kg at 0.45 m with 7 kg at 1.15 m, whose common centre is 0.77667 m up."""
    assert tip_angle_deg(foot_m, height_m) == pytest.approx(degrees, abs=1e-3)
