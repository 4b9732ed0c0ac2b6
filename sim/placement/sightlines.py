"""Can every driver be seen from the seat, and if not, what is in the way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..answers import printable
from ..arrays import FloatArray
from ..geometry.queries import first_between
from .stage import Stage


@printable
@dataclass(frozen=True, slots=True)
class SightLine:
    """The straight line from one driver to one listener.

    Attributes
    ----------
    loudspeaker, driver, listener
        Names.
    hidden_by
        The body in the way, or empty.
    clearance_m
        Distance to the nearest edge that sticks out (how far something may still move), or how deep the line lies in
        the shade of what hides it.
    nearest
        Body of that edge, or empty.
    """

    loudspeaker: str
    driver: str
    listener: str
    hidden_by: str
    clearance_m: float
    nearest: str


def sight_lines(stage: Stage) -> tuple[SightLine, ...]:
    """Look from every driver to every listener; a loudspeaker's own box never hides its drivers."""
    room = stage.room
    out = room.edges.sticking_out
    lines = []
    for loudspeaker in stage.loudspeakers:
        own = room.owner_number(loudspeaker.body)
        for driver, source in zip(loudspeaker.model.drivers, loudspeaker.driver_points, strict=True):
            for ear, listener in zip(stage.ears, stage.listener_names, strict=True):
                facet = first_between(room, source, ear, own)
                hidden = room.facets[facet].owner if facet >= 0 else ""
                bodies = room.arrays.owner[room.edges.facets[out][:, 0]] if out.size else np.zeros(0, int)
                wanted = bodies == room.owner_number(hidden) if hidden else bodies != own
                clearance, nearest = _nearest_edge(room.edges.ends[out[wanted]], source, ear)
                name = room.owners[bodies[wanted][nearest]] if nearest >= 0 else ""
                lines.append(SightLine(loudspeaker.name, driver.name, listener, hidden, clearance, name))
    return tuple(lines)


def _nearest_edge(ends: FloatArray, source: FloatArray, ear: FloatArray) -> tuple[float, int]:
    from ..geometry.kernels import segment_distance

    if len(ends) == 0:
        return float("inf"), -1
    p, q = np.array(source), np.array(ear)
    away = np.array([segment_distance(p, q, a, b) for a, b in np.array(ends)])
    return float(away.min()), int(away.argmin())
