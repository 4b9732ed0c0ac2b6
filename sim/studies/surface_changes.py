"""Each surface as a mirror in several layouts: level, delay, first notch, or why it sends nothing there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..acoustics.decibels import SILENCE_DB
from ..answers import printable
from ..arrays import FloatArray, frozen
from ..responses.records import Arrival
from ..responses.results import Results


@printable
@dataclass(frozen=True, slots=True)
class SurfaceChange:
    """One surface as a first-order reflector of one loudspeaker, in each layout.

    Attributes
    ----------
    loudspeaker, surface
        Whose sound, and where it strikes.
    worst_db, delay_ms, first_notch_hz, margin_m
        (layout,) highest level among the target's octaves, dB re direct; delay after the direct sound; lowest notch;
        distance from vanishing; nan where it sends nothing.
    why_not
        (layout,) why it sends nothing there, or an empty text.
    """

    loudspeaker: str
    surface: str
    worst_db: FloatArray
    delay_ms: FloatArray
    first_notch_hz: FloatArray
    margin_m: FloatArray
    why_not: tuple[str, ...]


def silent(level: float) -> bool:
    """Whether a level in dB stands for "nothing arrives"."""
    return level <= SILENCE_DB


def heard(result: Results, loudspeaker: str) -> list[Arrival]:
    """Everything but direct sound that reaches the first listener from a loudspeaker."""
    ear = result.stage.listener_names[0]
    return [a for a in result.responses.arrivals if a.loudspeaker == loudspeaker and a.listener == ear and a.order > 0]


def surface_changes(results: Sequence[Results], loudspeakers: Sequence[str], name: str) -> list[SurfaceChange]:
    """Follow every surface that mirrors the loudspeaker `name` in any layout; `loudspeakers` are its names there."""
    tables = []
    for result, loudspeaker in zip(results, loudspeakers, strict=True):
        table: dict[str, Arrival] = {}
        for arrival in heard(result, loudspeaker):
            if arrival.order == 1 and not arrival.bent and not silent(arrival.worst_db):
                table.setdefault(arrival.surfaces[0], arrival)
        tables.append(table)
    surfaces = dict.fromkeys(surface for table in tables for surface in table)

    def row(surface: str, value: str) -> FloatArray:
        values = []
        for table in tables:
            arrival = table.get(surface)
            if arrival is None:
                values.append(np.nan)
            elif value == "worst_db":
                values.append(arrival.worst_db)
            elif value == "notch":
                values.append(arrival.notches_hz[0])
            else:
                values.append(float(getattr(arrival.main, value)))
        return frozen(np.array(values, dtype=np.float64))

    return [
        SurfaceChange(
            name, surface, row(surface, "worst_db"), row(surface, "delay_ms"), row(surface, "notch"),
            row(surface, "margin_m"),
            tuple(
                "" if surface in table else _why_not(result, loudspeaker, surface)
                for result, loudspeaker, table in zip(results, loudspeakers, tables, strict=True)
            ),
        )
        for surface in surfaces
    ]  # fmt: skip


def _why_not(result: Results, loudspeaker: str, surface: str) -> str:
    """Say why a surface sends nothing: what hides it, or how far off the mirror point lies."""
    mine = [c for c in result.candidates if c.loudspeaker == loudspeaker and c.surface == surface and c.listener == 0]
    if any(c.status == "reaches" for c in mine):
        return "it takes away all sound"
    hidden = sorted({c.blocked_by for c in mine if c.status == "blocked"})
    if hidden:
        return "hidden by the " + " and the ".join(hidden)
    off = [c for c in mine if c.status == "misses"]
    if off:
        return f"the mirror point lies {100 * min(abs(c.rim_m) for c in off):.0f} cm outside it"
    facets = [facet for facet in result.stage.room.facets if facet.name == surface]
    if not facets:
        return "there is no such surface"
    planes = {facet.plane for facet in facets}
    beside = [
        c.surface
        for c in result.candidates
        if c.loudspeaker == loudspeaker and c.listener == 0 and result.stage.room.facets[c.facet].plane in planes
    ]
    return f"the mirror point lies on the {beside[0]}" if beside else "it faces away"
