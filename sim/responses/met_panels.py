"""Names for the panels that an arrival meets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import panel_shares
from sim.propagation.surfaces.incidence import incidences_with
from sim.responses.records import Arrival

GOVERNS = 0.5
"""Share of the pressure from which on a panel is named; 1/2 is that of one whose edge lies on the mirror point."""
JOINT = " and "


def with_panels(
    built: BuiltScene, paths: PathTable, arrivals: Sequence[Arrival], nominal_hz: FloatArray, exact_hz: FloatArray
) -> list[Arrival]:
    """Name for each surface of each arrival the panel that sound of the main driver meets there, at its worst octave.

    Panels of one plane are taken together, so that a joint at the mirror point does not hide them: if the magnitude of
    their shares' sum is above 1/2, those with at least half the share of the largest are named.  nominal_hz and
    exact_hz (band,) tell the middle of the octave that an arrival calls its worst.
    """
    rows = np.array([arrival.main.path for arrival in arrivals], dtype=np.int64)
    if not built.panels or not rows.size:
        return list(arrivals)
    some = paths.chosen(rows)
    wanted = np.isin(built.room.arrays.plane, [panel.plane for panel in built.panels])
    place, turn = np.nonzero((some.facets >= 0) & wanted[np.maximum(some.facets, 0)])
    incidences = incidences_with(built, some, wanted)  # in the same order
    plane = built.room.arrays.plane[incidences.facet]
    worst = np.array([int(np.flatnonzero(nominal_hz == arrival.worst_band_hz)[0]) for arrival in arrivals])
    names = [[""] * arrival.order for arrival in arrivals]
    for here in dict.fromkeys(panel.plane for panel in built.panels):
        mine = np.flatnonzero(plane == here)
        hung = [panel for panel in built.panels if panel.plane == here]
        fractions = panel_shares(built, hung, incidences.chosen(mine), exact_hz)
        for number, met_at in enumerate(mine):
            met = _governing([panel.name for panel in hung], fractions[:, number, worst[place[met_at]]])
            names[place[met_at]][turn[met_at]] = met
    return [replace(arrival, panels=tuple(one)) for arrival, one in zip(arrivals, names, strict=True)]


def _governing(names: Sequence[str], fractions: ComplexArray) -> str:
    """Names of the panels of one plane that govern a reflection by their shares (panel,), or an empty text."""
    if abs(fractions.sum()) <= GOVERNS:
        return ""
    sizes = np.abs(fractions)
    return JOINT.join(name for name, size in zip(names, sizes, strict=True) if size >= 0.5 * sizes.max())
