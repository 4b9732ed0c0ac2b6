"""The curves that ANSI/CTA-2034-A derives from 70 directions on two orbits of ten degrees.

Each group is the mean of squared pressures.  The early-reflections curve is the mean of its five group means, and the
rear-wall group has all nineteen angles from 90 to 180 degrees: the printed standard can be read otherwise.  Sound power
weighs each direction by the part of the sphere it stands for; the weights are divided by their sum, which over 70
directions is 0.9964.  The estimated in-room response is 0.12 of the listening window, 0.44 of the early reflections and
0.44 of the sound power, as squared pressures.  Directivity indices count from the listening window, as the
standard has it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands, sample_frequencies, third_octave_bands
from sim.arrays import FloatArray, frozen
from sim.blueprint.units import is_imperial
from sim.loudspeakers.assembled import ONE_POINT
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.loudspeakers.signal import Driver
from sim.showing.numbers import format_length, hertz, short_hertz, tenths

_HORIZONTAL: Final = tuple(range(-170, 181, 10))
_VERTICAL: Final = tuple(angle for angle in _HORIZONTAL if angle not in (0, 180))

POINTS: Final[tuple[tuple[str, int], ...]] = (
    *(("horizontal", angle) for angle in _HORIZONTAL),
    *(("vertical", angle) for angle in _VERTICAL),
)
"""The 70 directions in order, angles positive to the right and up as seen by someone who faces the loudspeaker."""


def _both(*angles: int) -> tuple[tuple[str, int], ...]:
    return tuple(("horizontal", sign * angle) for angle in angles for sign in (1, -1))


GROUPS: Final[dict[str, tuple[tuple[str, int], ...]]] = {
    "listening window": (("horizontal", 0), ("vertical", 10), ("vertical", -10), *_both(10, 20, 30)),
    "floor bounce": tuple(("vertical", -angle) for angle in (20, 30, 40)),
    "ceiling bounce": tuple(("vertical", angle) for angle in (40, 50, 60)),
    "front wall bounce": (("horizontal", 0), *_both(10, 20, 30)),
    "side wall bounce": _both(40, 50, 60, 70, 80),
    "rear wall bounce": (*_both(90, 100, 110, 120, 130, 140, 150, 160, 170), ("horizontal", 180)),
}
BOUNCES: Final = tuple(name for name in GROUPS if name.endswith("bounce"))


def power_weight(angle_deg: float) -> float:
    """Share of the sphere that a direction on an orbit stands for (Appendix C of the standard, to nine digits).

    A strip of ten degrees about it, cut where the strips of the other orbit begin.
    """
    off = min(abs(angle_deg), 180.0 - abs(angle_deg))
    wide, narrow = np.radians(off + 5.0), np.radians(max(off - 5.0, 0.0))
    if off > 85.0:
        return float((0.5 * np.pi - np.arcsin(np.sin(narrow) ** 2)) / (2.0 * np.pi))
    return float((np.arcsin(np.sin(wide) ** 2) - np.arcsin(np.sin(narrow) ** 2)) / (4.0 * np.pi))


@dataclass(frozen=True, slots=True)
class StandardCurves:
    """Levels (f,) in dB re on axis, and directivity indices (f,) in dB."""

    listening_window_db: FloatArray
    early_reflections_db: FloatArray
    sound_power_db: FloatArray
    early_reflections_index_db: FloatArray
    sound_power_index_db: FloatArray
    in_room_db: FloatArray
    bounces_db: FloatArray
    """(group, f) in the order of `BOUNCES`."""


def directions() -> FloatArray:
    """Unit vectors (70, 3) of `POINTS` in the loudspeaker's frame."""
    angles = np.radians([angle for _, angle in POINTS])
    across = np.array([orbit == "horizontal" for orbit, _ in POINTS])
    side = np.sin(angles)
    return frozen(np.column_stack([np.cos(angles), np.where(across, side, 0.0), np.where(across, 0.0, side)]))


def curves_of(energy: FloatArray) -> StandardCurves:
    """Derive the curves from squared pressures (70, f) in the order of `POINTS`."""
    row = {point: number for number, point in enumerate(POINTS)}
    on_axis = energy[row["horizontal", 0]]
    means = {name: energy[[row[point] for point in group]].mean(axis=0) for name, group in GROUPS.items()}
    early = np.mean([means[name] for name in BOUNCES], axis=0)
    weights = np.array([power_weight(angle) for _, angle in POINTS])
    power = weights @ energy / weights.sum()
    window = means["listening window"]

    def db(ratio: FloatArray) -> FloatArray:
        return frozen(10.0 * np.log10(np.maximum(ratio, 1e-30)))

    return StandardCurves(
        db(window / on_axis),
        db(early / on_axis),
        db(power / on_axis),
        db(window / early),
        db(window / power),
        db((0.12 * window + 0.44 * early + 0.44 * power) / on_axis),
        db(np.array([means[name] for name in BOUNCES]) / on_axis),
    )


def band_energy(
    loudspeaker: Loudspeaker, ways: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
) -> FloatArray:
    """Squared far pressure re on axis toward unit vectors (m, 3), mean over each band of (b, point) Hz: (m, b)."""
    pressure = loudspeaker.far_pressure(ways, frequencies_hz.ravel(), speed_of_sound_m_s)
    energy: FloatArray = (np.abs(pressure) ** 2).reshape(len(ways), *frequencies_hz.shape).mean(axis=2)
    return energy


# One loudspeaker as lines for a terminal: what was understood, the curves of the standard, both orbits.

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
