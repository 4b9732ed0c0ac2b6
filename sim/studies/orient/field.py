"""What an orientation sends to the head: direct sound over the head box, and what desk and ceiling send back.

Each driver radiates from its own place with its own directivity; their complex pressures add up.  Left out: everything
else in the room, and what the air takes, which over the length of a head box is less than a hundredth of a decibel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.blueprint.treatment import Target
from sim.layouts.figures import layout_figures, surface_names
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker

POINTS_IN_AN_OCTAVE: Final = 12
NEAR_OCTAVES: Final = 0.5
"""Third-octaves whose middle is this near to a crossover count as near it; always at least the nearest."""
GRID: Final = (7, 7, 3)
"""Points of the head box: depth, across, up; odd, so that its middle is one of them."""


@printable
@dataclass(frozen=True, slots=True)
class Evenness:
    """How much the direct sound differs over the head box.

    Attributes
    ----------
    bands
        The bands.
    pattern_db
        (band,) largest less smallest level over the box, the spreading from the acoustic axis point taken out: what
        the loudspeaker's own pattern does.
    across_db, up_db
        (band,) the same over the line from left to right, and over that from low to high, through the middle of the
        box.
    heard_db
        (band,) largest less smallest level as it is, with the spreading.
    low_db, high_db
        (band,) lowest and highest level of the pattern re the middle of the box.
    """

    bands: Bands
    pattern_db: FloatArray
    across_db: FloatArray
    up_db: FloatArray
    heard_db: FloatArray
    low_db: FloatArray
    high_db: FloatArray


def head_points(ear: FloatArray, head_box: FloatArray, counts: tuple[int, int, int] = GRID) -> FloatArray:
    """Points (depth, across, up, 3) of a grid over a box of full sizes (3,) round the ear (3,)."""
    steps = [np.linspace(-0.5, 0.5, count) * size for count, size in zip(counts, head_box, strict=True)]
    return np.asarray(ear + np.stack(np.meshgrid(*steps, indexing="ij"), axis=-1))


def direct_pressure(
    placed: PlacedLoudspeaker, points: FloatArray, frequencies_hz: FloatArray, speed_of_sound_m_s: float
) -> ComplexArray:
    """Complex pressure (m, f) at points (m, 3): sum over drivers of radiation times e^{-jkr}/r, 1 at 1 m ahead."""
    total = np.zeros((len(points), len(frequencies_hz)), dtype=np.complex128)
    for number, source in enumerate(placed.driver_points):
        way = points - source
        length = np.linalg.norm(way, axis=1)
        radiated = placed.model.driver_radiation(
            number, placed.to_box(way / length[:, None]), frequencies_hz, speed_of_sound_m_s
        )
        phase = -2j * np.pi / speed_of_sound_m_s * np.multiply.outer(length, frequencies_hz)
        total += radiated * np.exp(phase) / length[:, None]
    return total


def band_levels_db(
    placed: PlacedLoudspeaker, points: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> FloatArray:
    """Energy mean of the direct sound over each band, (m, band), in dB re 1 m on the axis."""
    per_band = max(4, round(POINTS_IN_AN_OCTAVE * float(np.log2(bands.upper_hz[0] / bands.lower_hz[0]))))
    frequencies = sample_frequencies(bands, per_band)
    pressure = direct_pressure(placed, points, frequencies.ravel(), speed_of_sound_m_s)
    energy = np.abs(pressure.reshape(len(points), *frequencies.shape)) ** 2
    return level_db(energy.mean(axis=2))


def pattern_levels_db(
    placed: PlacedLoudspeaker, points: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> FloatArray:
    """Levels (..., band) at points (..., 3) with the spreading from the acoustic axis point taken out."""
    flat = points.reshape(-1, 3)
    levels = band_levels_db(placed, flat, bands, speed_of_sound_m_s)
    away = np.linalg.norm(flat - placed.axis_point, axis=1)
    pattern: FloatArray = levels + 20.0 * np.log10(away)[:, None]
    return pattern.reshape(*points.shape[:-1], len(bands))


def near(thirds_hz: FloatArray, crossover_hz: float) -> IntArray:
    """Numbers of the third-octaves near a crossover."""
    away = np.abs(np.log2(thirds_hz / crossover_hz))
    return np.flatnonzero(away <= max(NEAR_OCTAVES, float(away.min())))


def evenness(
    placed: PlacedLoudspeaker, ear: FloatArray, head_box: FloatArray, bands: Bands, speed_of_sound_m_s: float
) -> Evenness:
    """How even the direct sound of a loudspeaker is over the head box."""
    points = head_points(ear, head_box)
    pattern = pattern_levels_db(placed, points, bands, speed_of_sound_m_s)
    away = np.linalg.norm(points - placed.axis_point, axis=-1)
    heard = pattern - 20.0 * np.log10(away)[..., None]
    depth, across, up = (count // 2 for count in GRID)
    middle = pattern[depth, across, up]
    return Evenness(
        bands,
        frozen(np.ptp(pattern, axis=(0, 1, 2))),
        frozen(np.ptp(pattern[depth, :, up], axis=0)),
        frozen(np.ptp(pattern[depth, across], axis=0)),
        frozen(np.ptp(heard, axis=(0, 1, 2))),
        frozen(pattern.min(axis=(0, 1, 2)) - middle),
        frozen(pattern.max(axis=(0, 1, 2)) - middle),
    )


# What desk, ceiling and the other surfaces send back in one orientation: levels over the head box, reflection points.

Facing: TypeAlias = Literal["up", "down", "side"]
LEVEL_PLANE: Final = 0.7
"""A surface faces up or down when its normal is within 45 degrees of that."""


@printable
@dataclass(frozen=True, slots=True)
class Reflection:
    """First-order sound from one surface, at the ear and over the head box (its middle and the middles of its sides).

    Attributes
    ----------
    surface, facing
        Which, and whether it looks up (desk, floor), down (ceiling) or aside.
    level_db
        (band,) at the ear re the direct sound; minus infinity where nothing arrives.
    worst_db, low_db, high_db
        Highest octave of the target at the ear; lowest and highest such level over the head box.
    delay_ms
        After the direct sound.
    drivers, point_m, clear_m
        Names, (driver, 3) reflection points and (driver,) how far inside the surface they lie, negative outside.
    """

    surface: str
    facing: Facing
    level_db: FloatArray
    worst_db: float
    low_db: float
    high_db: float
    delay_ms: float
    drivers: tuple[str, ...]
    point_m: FloatArray
    clear_m: FloatArray


def reflections(built: BuiltScene, target: Target, bands: Bands) -> tuple[tuple[Reflection, ...], ...]:
    """First-order reflections of every loudspeaker of a built scene; other loudspeakers' boxes are left out.

    Surfaces on which no driver's reflection point comes nearer than 0.3 m to lying on it are left out too.
    """
    boxes = {one.body for one in built.loudspeakers}
    facing = _facings(built)
    owners = {facet.name: facet.owner for facet in built.room.facets}
    names = [name for name in surface_names(built) if owners[name] not in boxes]
    here = layout_figures(built, target, bands, names)
    around = [here.worst_db, *(layout_figures(one, target, bands, names).worst_db for one in _heads(built))]
    table = np.stack(around)
    reported = []
    for s, loudspeaker in enumerate(built.loudspeakers):
        count = len(loudspeaker.model.drivers)
        mine = []
        for f, name in enumerate(names):
            clear = here.clear_m[s, :count, f]
            if not (np.isfinite(table[:, s, f]).any() or np.nanmax([*clear, -1.0]) > -0.3):
                continue
            mine.append(
                Reflection(
                    name,
                    facing[name],
                    frozen(here.level_db[s, f]),
                    float(here.worst_db[s, f]),
                    float(table[:, s, f].min()),
                    float(table[:, s, f].max()),
                    float(here.delay_ms[s, f]),
                    tuple(driver.name for driver in loudspeaker.model.drivers),
                    frozen(here.point_m[s, :count, f]),
                    frozen(clear),
                )
            )
        reported.append(tuple(mine))
    return tuple(reported)


def loudest(found: Sequence[Reflection], facing: Facing) -> Reflection | None:
    """The loudest surface that faces that way, or None when none of them sends anything."""
    those = [one for one in found if one.facing == facing and np.isfinite(one.high_db)]
    return max(those, key=lambda one: one.high_db, default=None)


def _heads(built: BuiltScene) -> list[BuiltScene]:
    ear, half = built.ears[0], 0.5 * built.head_box
    steps = [sign * half * axis for axis in np.eye(3) for sign in (-1.0, 1.0) if (half * axis).any()]
    return [replace(built, ears=frozen((ear + step)[None]), listener_names=built.listener_names[:1]) for step in steps]


def _facings(built: BuiltScene) -> dict[str, Facing]:
    found: dict[str, Facing] = {}
    for facet in built.room.facets:
        up = float(facet.normal[2])
        found.setdefault(facet.name, "up" if up > LEVEL_PLANE else "down" if up < -LEVEL_PLANE else "side")
    return found
