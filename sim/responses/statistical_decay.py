"""The decay times that formulas of the diffuse field give a built scene: for comparison, never as the answer.

A panel takes the place of the wall behind it with the coefficient of its layers at random incidence.
Neglected: that absorption is spread unevenly, the sides of panels, what they shade, and people.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.acoustics.diffuse_field import air_energy_loss_per_m, decay_time_s, eyring_area_m2, sabine_area_m2
from sim.acoustics.levels import HIGHEST_LAB_ABSORPTION
from sim.answers import printable
from sim.arrays import FloatArray
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import taken_in_octaves
from sim.placement.panels import PlacedPanel
from sim.rays.shape_kernels import inside_polygon

POINTS_IN_AN_OCTAVE = 6
LEAST_MEAN = 1e-6
"""A mean coefficient below this is raised to it, so that a decay time stays a number."""


@printable
@dataclass(frozen=True, slots=True)
class DiffuseRoom:
    """What formulas need of a built scene, octaves 63 Hz to 8 kHz, and what they give.

    Attributes
    ----------
    surface_m2
        Area of everything sound can meet, furniture and boxes included.
    mean_absorption
        (8,) mean coefficient, by area.
    unevenness
        (8,) standard deviation of the coefficients by area: 0 where all surfaces are alike.
    sabine_s, eyring_s
        (8,) decay times, air included.
    """

    surface_m2: float
    mean_absorption: FloatArray
    unevenness: FloatArray
    sabine_s: FloatArray
    eyring_s: FloatArray


def diffuse_room(built: BuiltScene) -> DiffuseRoom:
    """Work out Sabine's and Eyring's times of a built scene with its panels."""
    areas, absorption = _surfaces(built)
    surface = float(areas.sum())
    mean = np.clip(sabine_area_m2(areas, absorption) / surface, LEAST_MEAN, HIGHEST_LAB_ABSORPTION)
    spread = np.sqrt(np.maximum(areas @ (absorption - mean) ** 2 / surface, 0.0))
    air = air_energy_loss_per_m(octave_bands(63, 8000).exact_hz, built.air)
    speed, volume = built.air.speed_of_sound_m_s, built.volume_m3
    whole = np.array([surface])
    times = [
        decay_time_s(volume, area(whole, mean[None, :]), speed, air_per_m=air)
        for area in (sabine_area_m2, eyring_area_m2)
    ]
    return DiffuseRoom(surface, mean, spread, times[0], times[1])


def eyring_s(built: BuiltScene) -> FloatArray:
    """Decay time (8,) in seconds of the octaves 63 Hz to 8 kHz by Eyring's formula."""
    return diffuse_room(built).eyring_s


def _surfaces(built: BuiltScene) -> tuple[FloatArray, FloatArray]:
    """Areas (n,) and coefficients (n, 8): facets, then each panel, with as much of its wall taken off again."""
    areas = [np.array([facet.area_m2 for facet in built.room.facets])]
    walls = np.minimum(built.absorption, 1.0)
    rows = [walls]
    for panel, coefficients in zip(built.panels, _panel_coefficients(built, built.panels), strict=True):
        area = float(np.prod(np.linalg.norm(np.diff(panel.corners_m[:3], axis=0), axis=1)))
        areas.append(np.array([area, -area]))
        rows.append(np.stack([coefficients, _behind(built, panel, walls, areas[0])]))
    return np.concatenate(areas), np.concatenate(rows)


def _panel_coefficients(built: BuiltScene, panels: Sequence[PlacedPanel]) -> list[FloatArray]:
    used = {panel.finish for panel in panels}
    known = {number: taken_in_octaves(built.finishes[number], built.air, POINTS_IN_AN_OCTAVE) for number in used}
    return [known[panel.finish] for panel in panels]


def _behind(built: BuiltScene, panel: PlacedPanel, absorption: FloatArray, areas: FloatArray) -> FloatArray:
    """Coefficients (8,) of what a panel hides: its plane's facets, the one at its middle if that is known."""
    members = np.flatnonzero(built.room.arrays.plane == panel.plane)
    middle = panel.corners_m.mean(axis=0)
    for n in members:
        facet = built.room.facets[n]
        x, y = facet.to_plane(middle)
        if inside_polygon(float(x), float(y), facet.border):
            return np.asarray(absorption[n], dtype=np.float64)
    return np.asarray(areas[members] @ absorption[members] / areas[members].sum())
