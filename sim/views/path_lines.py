"""First-order paths as lines in the room: which are drawn, where they run, and how they are dashed."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from ..responses.records import Arrival
from ..responses.results import Results
from .style import SCALE

DASH_M = 0.12


def first_order(results: Results, listener: int = 0) -> tuple[Arrival, ...]:
    """Arrivals of one mirror at a listener that the scale of levels reaches down to, in the order of the table."""
    name = results.stage.listener_names[listener]
    return tuple(
        arrival
        for arrival in results.responses.arrivals
        if arrival.order == 1 and not arrival.bent and arrival.listener == name and arrival.worst_db >= SCALE.low_db
    )


def path_points(results: Results, arrival: Arrival) -> FloatArray:
    """Corners (k + 2, 3) of an arrival's main path: driver, surfaces, ear."""
    paths, row = results.paths, arrival.main.path
    loudspeaker = results.stage.loudspeakers[int(paths.loudspeaker[row])]
    start = loudspeaker.driver_points[int(paths.driver[row])]
    return np.vstack([start, arrival.main.points, results.stage.ears[int(paths.listener[row])]])


def dashes(points: FloatArray, look_number: int) -> FloatArray:
    """Cut a polyline (k, 3) into pieces (n, 2, 3): whole for the first loudspeaker, shorter dashes for the next."""
    whole = np.stack([points[:-1], points[1:]], axis=1)
    if look_number == 0:
        return whole
    dash = DASH_M / look_number
    pieces = []
    for start, stop in whole:
        length = float(np.linalg.norm(stop - start))
        begins = np.arange(0.0, length, 1.6 * dash)
        spans = np.column_stack([begins, np.minimum(begins + dash, length)]) / max(length, 1e-9)
        pieces.append(start + spans[:, :, None] * (stop - start))
    return np.concatenate(pieces)
