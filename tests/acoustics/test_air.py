import math

import numpy as np
import pytest

from sim.acoustics.air import Air, attenuation_db_per_m, relaxation_frequencies_hz


def exact_octave(steps_from_1k: int) -> float:
    return 1000.0 * 10.0 ** (0.3 * steps_from_1k)


def attenuation_written_out(frequency_hz: float, air: Air) -> float:
    """ISO 9613-1:1993 equations 3 to 5 and B.1 to B.3, one number at a time."""
    kelvin = air.temperature_c + 273.15
    pr = 101.325
    saturation = pr * 10 ** (-6.8346 * (273.16 / kelvin) ** 1.261 + 4.6151)
    h = air.relative_humidity_percent * (saturation / pr) / (air.pressure_kpa / pr)
    oxygen = (air.pressure_kpa / pr) * (24 + 4.04e4 * h * (0.02 + h) / (0.391 + h))
    nitrogen = (air.pressure_kpa / pr) * (kelvin / 293.15) ** -0.5
    nitrogen *= 9 + 280 * h * math.exp(-4.170 * ((kelvin / 293.15) ** (-1 / 3) - 1))
    f2 = frequency_hz**2
    relaxing = 0.01275 * math.exp(-2239.1 / kelvin) / (oxygen + f2 / oxygen)
    relaxing += 0.1068 * math.exp(-3352.0 / kelvin) / (nitrogen + f2 / nitrogen)
    classical = 1.84e-11 * (pr / air.pressure_kpa) * (kelvin / 293.15) ** 0.5
    return 8.686 * f2 * (classical + (kelvin / 293.15) ** -2.5 * relaxing)


# ISO 9613-1:1993, Table 1, in dB/km at exact third-octave mid frequencies.
@pytest.mark.parametrize(
    ("temperature_c", "humidity", "frequency_hz", "printed_db_km"),
    [
        (20, 70, 1000.0, 4.98),
        (20, 50, exact_octave(-3), 0.445),
        (20, 70, exact_octave(-3), 0.339),
        (20, 10, exact_octave(2), 109),
        (20, 100, exact_octave(2), 19.4),
        (10, 70, 1000.0, 3.66),
        (10, 70, exact_octave(2), 32.8),
        (30, 70, 1000.0, 7.41),
        (30, 70, exact_octave(2), 23.1),
        (20, 15, 1000.0 * 10.0**0.8, 175),
    ],
)
def test_attenuation_agrees_with_the_printed_table(
    temperature_c: float, humidity: float, frequency_hz: float, printed_db_km: float
) -> None:
    air = Air(temperature_c, humidity)
    assert 1000.0 * attenuation_db_per_m(frequency_hz, air) == pytest.approx(printed_db_km, rel=5e-3)


def test_attenuation_in_the_octaves_of_a_cool_and_a_warm_room() -> None:
    # ISO 9613-2:1996, Table 2, in dB/km as printed, 63 Hz to 8 kHz.
    octaves = [exact_octave(k) for k in range(-4, 4)]
    cool = 1000.0 * attenuation_db_per_m(octaves, Air(10, 70))
    warm = 1000.0 * attenuation_db_per_m(octaves, Air(20, 70))
    assert cool == pytest.approx([0.1, 0.4, 1.0, 1.9, 3.7, 9.7, 32.8, 117], rel=0.01, abs=0.05)
    assert warm == pytest.approx([0.1, 0.3, 1.1, 2.8, 5.0, 9.0, 22.9, 76.6], rel=0.01, abs=0.05)


@pytest.mark.parametrize("air", [Air(), Air(-5, 80), Air(35, 20, 90), Air(15, 50, 105)])
def test_attenuation_agrees_with_the_equations_written_out(air: Air) -> None:
    frequencies = np.geomspace(20.0, 20000.0, 31)
    slow = [attenuation_written_out(frequency, air) for frequency in frequencies]
    assert attenuation_db_per_m(frequencies, air) == pytest.approx(slow, rel=1e-12)


def test_relaxation_at_20_degrees_and_half_saturation() -> None:
    air = Air(20, 50)
    assert air.water_vapour_percent == pytest.approx(1.1530, rel=1e-3)
    assert relaxation_frequencies_hz(air) == pytest.approx((35413.9, 331.85), rel=1e-3)


def test_early_reflection_loses_half_a_decibel_at_8_khz() -> None:
    assert 5.0 * float(attenuation_db_per_m(8000.0, Air(20, 50))) == pytest.approx(0.527, abs=0.005)


@pytest.mark.parametrize(
    ("temperature_c", "speed_m_s"),
    [(0, 331.286), (10, 337.296), (15, 340.261), (20, 343.2), (25, 346.114), (30, 349.005)],
)
def test_speed_of_sound_follows_annex_a(temperature_c: float, speed_m_s: float) -> None:
    assert Air(temperature_c).speed_of_sound_m_s == pytest.approx(speed_m_s, abs=1e-3)


def test_density_of_air_at_sea_level() -> None:
    # ISO 2533:1975, standard atmosphere at sea level and 15 C: 1.225 kg/m3.
    assert Air(15).density_kg_m3 == pytest.approx(1.225, abs=1e-4)
    assert Air(20).density_kg_m3 == pytest.approx(1.2041, abs=1e-4)


def test_shape_is_kept() -> None:
    assert attenuation_db_per_m(np.ones((2, 3)), Air()).shape == (2, 3)


@pytest.mark.parametrize(
    ("air", "word"),
    [
        ({"temperature_c": 68.0}, "temperature"),
        ({"relative_humidity_percent": 0.0}, "humidity"),
        ({"relative_humidity_percent": 101.0}, "humidity"),
        ({"pressure_kpa": 1013.25}, "pressure"),
        ({"temperature_c": math.nan}, "temperature"),
    ],
)
def test_impossible_air_is_refused(air: dict[str, float], word: str) -> None:
    with pytest.raises(ValueError, match=word):
        Air(**air)
