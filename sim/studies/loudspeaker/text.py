"""One loudspeaker as lines for a terminal: what was understood, the curves of the standard, both orbits."""

from __future__ import annotations

from typing import Final

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands, sample_frequencies, third_octave_bands
from sim.arrays import FloatArray
from sim.blueprint.units import is_imperial
from sim.loudspeakers.assembled import ONE_POINT
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.loudspeakers.signal import Driver
from sim.showing.numbers import format_length, hertz, short_hertz, tenths
from sim.studies.loudspeaker.curves import band_energy, curves_of, directions

ANGLES_DEG: Final = (0, 10, 20, 30, 45, 60, 75, 90, 120, 150, 180)
FLOOR_DB: Final = -60.0
LOWEST_HZ, HIGHEST_HZ = 125, 16000


def loudspeaker_lines(loudspeaker: Loudspeaker, air: Air, unit: str = "mm") -> list[str]:
    """Lines on one loudspeaker; levels are means of energy over each band, far away, in dB re on axis."""
    octaves, thirds = octave_bands(LOWEST_HZ, HIGHEST_HZ), third_octave_bands(LOWEST_HZ, HIGHEST_HZ)
    speed = air.speed_of_sound_m_s
    energy = band_energy(loudspeaker, directions(), sample_frequencies(thirds, 8), speed)
    curves = curves_of(energy)
    lines = [*_what_it_is(loudspeaker, unit), ""]
    lines += [
        "Curves of ANSI/CTA-2034-A, means over third-octaves, dB re on axis; indices in dB re listening window.",
        "",
        f"{'Hz':>7}{'listening':>11}{'early':>13}{'sound':>8}{'estimated':>11}{'index of':>14}{'index of':>10}",
        f"{'':>7}{'window':>11}{'reflections':>13}{'power':>8}{'in-room':>11}{'reflections':>14}{'power':>10}",
    ]
    for band, nominal in enumerate(thirds.nominal_hz):
        cells = (
            (curves.listening_window_db, 11),
            (curves.early_reflections_db, 13),
            (curves.sound_power_db, 8),
            (curves.in_room_db, 11),
            (curves.early_reflections_index_db, 14),
            (curves.sound_power_index_db, 10),
        )
        lines.append(f"{short_hertz(nominal):>7}" + "".join(f"{_rounded(row[band]):>{width}}" for row, width in cells))
    samples = sample_frequencies(octaves, 24)
    for title, axis, ends in (("Horizontal", 1, ("right", "left")), ("Vertical", 2, ("up", "down"))):
        right, left = (_levels(loudspeaker, sign, axis, samples, speed) for sign in (1.0, -1.0))
        alike = float(np.abs(right - left).max()) < 0.05
        reported = "alike on both sides" if alike else f"{ends[0]} / {ends[1]} of the axis"
        width = 9 if alike else 15
        lines += ["", f"{title} orbit, means over octaves, dB re on axis ({reported})", ""]
        lines.append(f"{'':>9}" + "".join(f"{short_hertz(nominal):>{width}}" for nominal in octaves.nominal_hz))
        for row, angle in enumerate(ANGLES_DEG):
            pairs = zip(right[row], left[row], strict=True)
            reported_of = (_rounded(one) if alike else f"{_rounded(one)} / {_rounded(other)}" for one, other in pairs)
            lines.append(f"{angle:>5} deg" + "".join(f"{cell:>{width}}" for cell in reported_of))
    return lines


def _levels(
    loudspeaker: Loudspeaker, sign: float, axis: int, samples: FloatArray, speed_of_sound_m_s: float
) -> FloatArray:
    """Levels (angle, octave) in dB on one side of an orbit."""
    angles = np.radians(ANGLES_DEG)
    ways = np.zeros((len(angles), 3))
    ways[:, 0], ways[:, axis] = np.cos(angles), sign * np.sin(angles)
    energy = band_energy(loudspeaker, ways, samples, speed_of_sound_m_s)
    return np.asarray(10.0 * np.log10(np.maximum(energy, 1e-30)))


def _what_it_is(loudspeaker: Loudspeaker, unit: str) -> list[str]:
    lines = [loudspeaker.name]
    if loudspeaker.cabinet_size_m is not None:
        sizes = " x ".join(_fine(side, unit) for side in loudspeaker.cabinet_size_m)
        lines.append(f"Cabinet {sizes} (width, height, depth){', built into a wall' if loudspeaker.flush else ''}.")
    elif loudspeaker.flush:
        lines.append("Built into a wall.")
    else:
        lines.append("No cabinet: it blocks and reflects nothing.")
    if loudspeaker.kind == "point":
        lines.append("A point that radiates evenly all round.")
        return lines
    lines.append("Drivers, placed from the acoustic axis point as seen from the seat:")
    lines += [f"  {_driver(loudspeaker, driver, unit)}" for driver in loudspeaker.drivers]
    for data in loudspeaker.data:
        low, high = data.frequencies_hz[0], data.frequencies_hz[-1]
        lines.append(
            f"Measured: {data.source}, {len(data.directions)} directions, "
            f"{'two orbits' if data.layout == 'two orbits' else 'over the sphere'}, {len(data.frequencies_hz)} "
            f"frequencies from {low:.0f} to {high:.0f} Hz, {'with' if data.has_phase else 'without'} phase."
        )
        lines += [f"  assumed: {note}" for note in data.notes]
    if loudspeaker.kind == "measured":
        lines.append(f"  assumed: {ONE_POINT}")
    if any(driver.mouth_radius_m > driver.radius_m for driver in loudspeaker.drivers):
        lines.append("A waveguide is approximated by an effective radius at each frequency.")
    return lines


def _driver(loudspeaker: Loudspeaker, driver: Driver, unit: str) -> str:
    _, right, up = driver.offset_m
    words = [driver.name]
    if driver.radius_m > 0.0:
        words.append(_fine(2.0 * driver.radius_m, unit))
    if driver.mouth_radius_m > 0.0:
        words.append(
            f"in a waveguide of {_fine(2.0 * driver.mouth_radius_m, unit)} for {driver.coverage_deg:g} degrees"
        )
    places = [
        f"{_fine(abs(value), unit)} {ahead if value > 0.0 else behind}"
        for value, ahead, behind in ((right, "right", "left"), (up, "above", "below"))
        if abs(value) > 0.0005
    ]
    words.append(" and ".join(places) if places else "at the axis point")
    low, high, slope = _band(loudspeaker, driver)
    ends = [f"from {hertz(low)}"] * (low > 0.0) + [f"to {hertz(high)}"] * bool(np.isfinite(high))
    words.append(f"{' '.join(ends)}, {slope} dB per octave" if ends else "whole band")
    if driver.gain_db:
        words.append(f"{driver.gain_db:+g} dB")
    if driver.delay_ms:
        words.append(f"{driver.delay_ms:+g} ms")
    if driver.inverted:
        words.append("inverted")
    return ", ".join(words)


def _band(loudspeaker: Loudspeaker, driver: Driver) -> tuple[float, float, int]:
    """Lower end, upper end and slope of what a driver plays."""
    if driver.own_band:
        return driver.from_hz, driver.to_hz, driver.slope_db_per_octave
    edges = (0.0, *loudspeaker.crossovers_hz, float("inf"))
    return edges[driver.way], edges[driver.way + 1], loudspeaker.slope_db_per_octave


def _fine(metres: float, unit: str) -> str:
    return format_length(metres, unit if is_imperial(unit) else "mm")


def _rounded(level: float) -> str:
    """One decimal, never a minus zero; what is too quiet to matter is a dash."""
    if level < FLOOR_DB:
        return "-"
    return tenths(level)
