"""Tone of the direct sound: what a loudspeaker loses toward the seat against what it sends straight ahead."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np

from sim.acoustics.levels import level_db
from sim.arrays import ComplexArray, FloatArray, frozen
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.propagation.surfaces.factors import turned_by

TONE_HZ: Final = (1000.0, 16000.0)
"""Where the slope is fitted: below, a loudspeaker hardly directs its sound (common practice, no source)."""
NO_CROSSOVER_HZ: Final = 2000.0


def tones_of(built: BuiltScene) -> list[tuple[float, float]]:
    """Direct sound of each loudspeaker at the first seat re on axis: loss in dB round the crossover, dB per octave.

    All drivers add up as they arrive; nothing in the room is looked at, so that a search can ask it of any layout.
    """
    speed, (fitted, slope) = built.air.speed_of_sound_m_s, _fit()
    tones: dict[int, tuple[float, float]] = {}
    for same in _of_one_model(built.loudspeakers):
        many = [built.loudspeakers[s] for s in same]
        model = many[0].model
        middle = model.crossovers_hz[-1] if model.crossovers_hz else NO_CROSSOVER_HZ
        octave = middle * 2.0 ** (np.arange(-5.5, 6.0) / 12.0)
        points = []
        for placed in many:
            distance = float(np.linalg.norm(built.ears[0] - placed.axis_point))
            points.append([built.ears[0], placed.axis_point + distance * placed.rotation[:, 0]])
        energy = np.abs(_pressures(many, np.array(points), np.concatenate([octave, fitted]), speed)) ** 2
        for s, mine in zip(same, energy, strict=True):
            round_crossover, above = mine[:, : len(octave)].mean(axis=1), level_db(mine[:, len(octave) :])
            loss = float(level_db(round_crossover[1]) - level_db(round_crossover[0]))
            tones[s] = max(loss, 0.0), float(slope @ (above[0] - above[1]))
    return [tones[s] for s in range(len(built.loudspeakers))]


def _of_one_model(loudspeakers: Sequence[PlacedLoudspeaker]) -> list[list[int]]:
    """Numbers of the loudspeakers of each model."""
    models: dict[int, list[int]] = {}
    for s, placed in enumerate(loudspeakers):
        models.setdefault(id(placed.model), []).append(s)
    return list(models.values())


@lru_cache(maxsize=1)
def _fit() -> tuple[FloatArray, FloatArray]:
    """Frequencies (f,) in Hz, and what to multiply levels at them by to have the slope of the straight line in them."""
    fitted = np.geomspace(*TONE_HZ, 49)
    octaves = np.log2(fitted) - np.log2(fitted).mean()
    return frozen(fitted), frozen(octaves / (octaves @ octaves))


def _pressures(many: Sequence[PlacedLoudspeaker], points: FloatArray, hz: FloatArray, speed: float) -> ComplexArray:
    """Direct pressure (s, m, f) of loudspeakers of one model at points (s, m, 3), each driver by its own distance."""
    total = np.zeros((*points.shape[:2], len(hz)), dtype=np.complex128)
    sources, turns = np.array([one.driver_points for one in many]), np.array([one.rotation for one in many])
    for number in range(sources.shape[1]):
        away = points - sources[:, number, None]
        length = np.linalg.norm(away, axis=2, keepdims=True)
        ways = ((away / length) @ turns).reshape(-1, 3)
        radiated = many[0].model.driver_radiation(number, ways, hz, speed).reshape(total.shape)
        total += radiated * turned_by(hz, length.ravel() / speed).reshape(total.shape) / length
    return total


def tone_cost_db(built: BuiltScene, target: Target) -> float:
    """What crossover and slope add to the measure, weights included."""
    tone = np.abs(np.array(tones_of(built))).mean(axis=0)
    return float(target.weights.crossover * tone[0] + target.weights.slope * tone[1])
