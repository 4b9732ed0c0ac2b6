"""What sound meets where: every facet and every panel with what it keeps and how much of that it scatters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.acoustics.materials import FLAT_SCATTERING, reflection_factor
from sim.arrays import FloatArray, IntArray
from sim.geometry.facets import SAME_DIRECTION, SAME_PLANE_M
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import taken_in_octaves


@dataclass(frozen=True, slots=True)
class Boundaries:
    """Facets first, then panels: one row each.

    Attributes
    ----------
    kept
        (k, 8) share of the energy that is sent back, 1 - alpha at random incidence.
    scattering
        (k, 8) share of that which is scattered (ISO 17497-1:2004).
    panels
        (m, 9) of each panel: a corner, and two vectors whose products with what is counted from there run from 0 to 1.
    first_panel
        (plane + 1,) panels first_panel[i] .. first_panel[i + 1] - 1 hang in plane i.
    panel_order
        (m,) numbers of the panels in the built scene, in the order they have here.
    other_side
        (plane,) number of the plane that lies back to back with each, -1 without one.
    """

    kept: FloatArray
    scattering: FloatArray
    panels: FloatArray
    first_panel: IntArray
    panel_order: IntArray
    other_side: IntArray


def boundaries_of(built: BuiltScene) -> Boundaries:
    """Skins of a built scene.

    A panel is taken as lying in the surface it hangs on: its depth (a millisecond at most) and its shadow on legs
    that only pass it are neglected, and it takes what it takes at random incidence.
    """
    octaves = octave_bands(63, 8000)
    kept = reflection_factor(built.absorption, octaves.exact_hz) ** 2
    flat = np.full_like(kept, FLAT_SCATTERING)
    scattering = built.scattering if len(built.scattering) else flat
    planes = int(built.room.arrays.plane.max()) + 1
    order = np.array(sorted(range(len(built.panels)), key=lambda n: built.panels[n].plane), dtype=np.int64)
    hung = [built.panels[n] for n in order]
    used = dict.fromkeys(panel.finish for panel in hung)
    taken = {number: taken_in_octaves(built.finishes[number], built.air) for number in used}
    reported = [reflection_factor(taken[panel.finish], octaves.exact_hz) ** 2 for panel in hung]
    rows = [np.concatenate([panel.corners_m[0], *_sides(panel.corners_m)]) for panel in hung]
    first = np.searchsorted([panel.plane for panel in hung], np.arange(planes + 1))
    return Boundaries(
        kept=np.vstack([kept, *reported]),
        scattering=np.vstack([scattering, *[np.array(built.finishes[panel.finish].scattering) for panel in hung]]),
        panels=np.array(rows).reshape(-1, 9),
        first_panel=first.astype(np.int64),
        panel_order=order,
        other_side=_other_sides(built.room, planes),
    )


def _sides(corners: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both sides at the first corner, each divided by the square of its length."""
    first, second = corners[1] - corners[0], corners[3] - corners[0]
    return first / (first @ first), second / (second @ second)


def _other_sides(room: Room, planes: int) -> IntArray:
    """For each plane the one back to back with it: the other face of a sheet without thickness."""
    normal, offset = np.zeros((planes, 3)), np.zeros(planes)
    normal[room.arrays.plane], offset[room.arrays.plane] = room.arrays.normal, room.arrays.offset
    opposite = (normal @ normal.T <= -SAME_DIRECTION) & (np.abs(offset[:, None] + offset[None, :]) <= SAME_PLANE_M)
    return np.where(opposite.any(axis=1), opposite.argmax(axis=1), -1).astype(np.int64)


def boundary_of_points(built: BuiltScene, boundaries: Boundaries, facets: IntArray, points: FloatArray) -> IntArray:
    """Number of the boundary (n,) at points (n, 3) of facets (n,): a panel's where one hangs, else the facet's."""
    found = facets.copy()
    plane = built.room.arrays.plane[facets]
    for number, row in reversed(list(enumerate(boundaries.panels))):
        here = plane == built.panels[boundaries.panel_order[number]].plane
        offset = points - row[:3]
        a, b = offset @ row[3:6], offset @ row[6:9]
        found[here & (a >= 0.0) & (a <= 1.0) & (b >= 0.0) & (b <= 1.0)] = len(built.room.facets) + number
    return found
