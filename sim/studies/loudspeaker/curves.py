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

from sim.arrays import FloatArray, frozen
from sim.loudspeakers.loudspeaker import Loudspeaker

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
