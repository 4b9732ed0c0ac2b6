"""Two orbits through the axis, made whole; directions that were measured more than once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray

ALIKE_DB: Final = 0.5
"""Repeated measurements this near to each other are not worth a word."""
CONTRADICTING_DB: Final = 6.0
"""Measurements this far apart are not of the same direction, whatever the file says."""


def without_repeats(
    keys: FloatArray, values: ComplexArray, reported: Callable[[int], str]
) -> tuple[IntArray, ComplexArray, list[str]]:
    """Keep one of each key: rows (k,) of keys (p, n), merged values (k, f), and sentences on what was assumed.

    Merged are the energies; the phase is that of the first.  `reported` names the direction of a row, for complaints.
    Raises ValueError when two contradict each other in their mean level over frequency; what differs at single
    frequencies, as behind a loudspeaker, is said.
    """
    _, first, group = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    group = group.ravel()
    if len(first) == len(keys):
        return np.arange(len(keys)), values, []
    energy = np.zeros((len(first), values.shape[1]))
    np.add.at(energy, group, np.abs(values) ** 2)
    count = np.bincount(group)
    size = np.sqrt(energy / count[:, None])
    kept = values[first]
    level = np.abs(kept)
    merged = np.where(level > 0.0, kept / np.where(level > 0.0, level, 1.0), 1.0) * size
    levels = 20.0 * np.log10(np.maximum(np.abs(values), max(float(size.max()), 1e-300) * 1e-6))
    contradicting = _ranges(levels.mean(axis=1)[:, None], group)[:, 0]
    worst = int(np.argmax(contradicting))
    if contradicting[worst] > CONTRADICTING_DB:
        raise ValueError(
            f"{reported(int(first[worst]))} was measured twice, {contradicting[worst]:.0f} dB apart; keep the right one"
        )
    apart = np.sqrt((_ranges(levels, group) ** 2).mean(axis=1))
    worst, many = int(np.argmax(apart)), int((apart > ALIKE_DB).sum())
    said = []
    if many:
        others = ["", ", as was 1 other", f", as were {many - 1} others"][min(many - 1, 2)]
        said.append(
            f"{reported(int(first[worst]))} was measured more than once, {apart[worst]:.1f} dB apart (rms over "
            f"frequency){others}: mean energies are taken"
        )
    order = np.argsort(first)
    return first[order], merged[order], said


def _ranges(levels: FloatArray, group: IntArray) -> FloatArray:
    """Highest less lowest level (k, f) in each group of rows (p, f)."""
    count = int(group.max()) + 1
    highest, lowest = np.full((count, levels.shape[1]), -np.inf), np.full((count, levels.shape[1]), np.inf)
    np.maximum.at(highest, group, levels)
    np.minimum.at(lowest, group, levels)
    return np.asarray(highest - lowest)


# Two orbits through the axis, made whole: what was measured once, what symmetry fills in, what is bridged behind.
#
# Angles run from the axis in degrees, positive to the right (horizontal orbit) or up (vertical orbit) as seen by
# someone who faces the loudspeaker.

NAMES: Final = ("horizontal", "vertical")
STANDARD_STEP_DEG: Final = 10.0
"""Step of the orbits in ANSI/CTA-2034-A."""
BEHIND_DEG: Final = -180.0
_SIDES: Final = (("left", "right"), ("below", "above"))
_ON_PLANE: Final = np.sin(np.radians(0.5))


@dataclass(frozen=True, slots=True)
class Orbit:
    """Angles (a,) in degrees from -180 up to, not including, 180, and what was measured there (a, f)."""

    angle_deg: FloatArray
    values: ComplexArray

    def at(self, angle_deg: float) -> ComplexArray | None:
        """Values (f,) at one angle, None where nothing was measured."""
        found = np.flatnonzero(self.angle_deg == angle_deg)
        return self.values[found[0]] if len(found) else None

    def with_more(self, angle_deg: FloatArray, values: ComplexArray) -> Orbit:
        """Return this orbit and more angles (n,) with values (n, f)."""
        angles = np.concatenate([self.angle_deg, angle_deg])
        order = np.argsort(angles)
        return Orbit(angles[order], np.concatenate([self.values, values])[order])

    @property
    def is_bare(self) -> bool:
        """Whether nothing was measured but the axis and the rear."""
        return not ((self.angle_deg != 0.0) & (self.angle_deg != BEHIND_DEG)).any()


def on_orbits(directions: FloatArray) -> BoolArray | None:
    """Which directions (p,) of unit vectors (p, 3) are on the horizontal orbit; None unless all are on one of both."""
    across, upright = np.abs(directions[:, 1]), np.abs(directions[:, 2])
    if (np.minimum(across, upright) > _ON_PLANE).any():
        return None
    return np.asarray(upright <= _ON_PLANE)


def whole_orbits(
    directions: FloatArray, horizontal: BoolArray, values: ComplexArray
) -> tuple[FloatArray, BoolArray, ComplexArray, list[str]]:
    """Complete two orbits told as directions (p, 3), which of them are horizontal (p,), and values (p, f).

    Returned are directions, flags and values, horizontal ones first, and sentences on what was assumed.
    Raises ValueError when only the axis was measured, or the same direction twice with levels that do not agree.
    """
    notes: list[str] = []
    orbits = []
    for axis, name, mine in ((1, NAMES[0], horizontal), (2, NAMES[1], ~horizontal)):
        angles = np.round(np.degrees(np.arctan2(directions[mine, axis], directions[mine, 0])), 4)
        angles = (angles + 180.0) % 360.0 - 180.0 + 0.0
        kept, merged, said = without_repeats(angles[:, None], values[mine], partial(_reported, name, angles))
        notes += said
        order = np.argsort(angles[kept])
        orbits.append(Orbit(angles[kept][order], merged[order]))
    if all(orbit.is_bare for orbit in orbits):
        raise ValueError("only the axis was measured; add other directions, every 10 degrees if you can")
    for one, other in ((0, 1), (1, 0)):  # axis and rear belong to both, and may be measured once
        for angle in (0.0, BEHIND_DEG):
            known = orbits[other].at(angle)
            if known is not None and orbits[one].at(angle) is None:
                orbits[one] = orbits[one].with_more(np.array([angle]), known[None])
    for one, other in ((0, 1), (1, 0)):
        if orbits[one].is_bare:
            orbits[one] = orbits[other]
            notes.append(f"no {NAMES[one]} orbit was measured: it is taken to be like the {NAMES[other]} one")
    for number in (0, 1):
        orbits[number], said = _both_sides(orbits[number], *_SIDES[number])
        notes += said
    gaps = [_gaps(orbit.angle_deg) for orbit in orbits]
    for gap in dict.fromkeys(gaps[0] + gaps[1]):
        orbit = "each" if gap in gaps[0] and gap in gaps[1] else f"the {NAMES[gap in gaps[1]]}"
        notes.append(f"{orbit} orbit {gap}")
    turned = [np.radians(orbit.angle_deg) for orbit in orbits]
    zero = [0.0 * angles for angles in turned]
    return (
        np.concatenate(
            [
                np.column_stack([np.cos(turned[0]), np.sin(turned[0]), zero[0]]),
                np.column_stack([np.cos(turned[1]), zero[1], np.sin(turned[1])]),
            ]
        ),
        np.repeat([True, False], [len(angles) for angles in turned]),
        np.concatenate([orbit.values for orbit in orbits]),
        list(dict.fromkeys(notes)),
    )


def _both_sides(orbit: Orbit, negative: str, positive: str) -> tuple[Orbit, list[str]]:
    beside = (orbit.angle_deg != 0.0) & (orbit.angle_deg != BEHIND_DEG)
    for sign, bare in ((-1.0, negative), (1.0, positive)):
        if not (sign * orbit.angle_deg[beside] > 0.0).any():
            mirrored = orbit.with_more(-orbit.angle_deg[beside], orbit.values[beside])
            return mirrored, [f"nothing was measured {bare}: it is taken from the other side"]
    return orbit, []


def _reported(name: str, angle_deg: FloatArray, row: int) -> str:
    angle = angle_deg[row]
    return f"the {name} orbit at {-angle if angle == BEHIND_DEG else angle:g} degrees"


def _gaps(angle_deg: FloatArray) -> list[str]:
    said = []
    within = float(np.diff(angle_deg).max(initial=0.0))
    farthest, behind = float(np.abs(angle_deg).max()), float(angle_deg[0] + 360.0 - angle_deg[-1])
    if within > STANDARD_STEP_DEG + 1e-3:
        said.append(
            f"has steps of up to {within:g} degrees, where ANSI/CTA-2034-A asks for 10: straight lines"
            " are drawn in between"
        )
    if behind > max(within, STANDARD_STEP_DEG) + 1e-3:
        said.append(f"ends at {farthest:g} degrees: behind, it is bridged between its two ends")
    return said
