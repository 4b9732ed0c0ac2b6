"""What panels changed, arrival by arrival."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from ..blueprint.targets import Target
from ..responses.arrivals import in_window
from ..responses.records import Arrival
from ..responses.results import Results
from .ground import Ground, Spot

INSIDE_M = 0.01
ON_PLANE_M = 0.005
TAKES_OFF_DB = 6.0
LEAST_CHANGE_DB = 1.0
MOST_COVERED = 4


@dataclass(frozen=True)
class Pairing:
    """The same arrival before and after; after is None when it is gone."""

    before: Arrival
    after: Arrival | None


def pair_up(before: Results, after: Results, listener: str = "ear") -> list[Pairing]:
    """Arrivals of one listener before, each with the same one after."""
    later: dict[tuple[object, ...], list[Arrival]] = {}
    for each in after.responses.arrivals:
        later.setdefault(_key(each), []).append(each)
    pairs = []
    for each in before.responses.arrivals:
        if each.listener != listener or each.order == 0:
            continue
        same = later.get(_key(each), [])
        pairs.append(Pairing(each, same.pop(0) if same else None))
    return pairs


def _key(arrival: Arrival) -> tuple[object, ...]:
    return (arrival.loudspeaker, arrival.listener, arrival.kind, arrival.surfaces)


def touches(ground: Ground, arrival: Arrival) -> Iterator[tuple[int, FloatArray]]:
    """Number of the treatable surface and the point (3,), for each point at which an arrival meets one."""
    import shapely

    if arrival.bent:
        return
    for owner, point in zip(arrival.owners, arrival.main.points, strict=False):
        if owner != "room":
            continue
        for number, surface in enumerate(ground.surfaces):
            a, b, off = surface.to_flat(point)
            if abs(off) < ON_PLANE_M and surface.region.distance(shapely.Point(a, b)) < INSIDE_M:
                yield number, point
                break


def is_under(ground: Ground, spot: Spot, surface: int, point: FloatArray) -> bool:
    """Whether a panel covers a point of a surface."""
    if ground.surfaces[surface].plane != ground.surfaces[spot.surface].plane:
        return False
    a, b, _ = ground.surfaces[spot.surface].to_flat(point)
    a0, b0, a1, b1 = spot.rectangle
    return bool(a0 - INSIDE_M <= a <= a1 + INSIDE_M and b0 - INSIDE_M <= b <= b1 + INSIDE_M)


def covered_by(ground: Ground, spot: Spot, pairs: Sequence[Pairing], target: Target) -> list[Pairing]:
    """What a panel takes care of, inside the window: single reflections first, the strongest first."""
    found = []
    for pair in pairs:
        if not in_window(pair.before, target):
            continue
        if any(is_under(ground, spot, number, point) for number, point in touches(ground, pair.before)):
            found.append(pair)
    return sorted(found, key=lambda pair: (pair.before.order, -pair.before.worst_db))


def covers_words(covered: Sequence[Pairing]) -> tuple[str, ...]:
    """Such as "left, left wall at 4.9 ms: -12 to -22 dB in the 1 kHz octave"."""
    words = []
    for pair in covered:
        level = after_in_worst_band(pair)
        if pair.before.worst_db - level >= LEAST_CHANGE_DB:
            words.append(
                f"{pair.before.loudspeaker}, {pair.before.way} at {pair.before.main.delay_ms:.1f} ms: "
                f"{pair.before.worst_db:.0f} to {level:.0f} dB in the {octave(pair.before.worst_band_hz)} octave"
            )
    return tuple(words[:MOST_COVERED])


def works_from_hz(covered: Sequence[Pairing], mid_hz: FloatArray) -> float:
    """Lowest octave from which, up to 8 kHz, at least 6 dB go off the strongest reflection covered; nan when none."""
    if not covered or covered[0].after is None:
        return float("nan")
    taken = covered[0].before.level_db - covered[0].after.level_db
    lowest = float("nan")
    for i in np.flatnonzero(mid_hz <= 8000.0)[::-1]:
        if not taken[i] >= TAKES_OFF_DB:
            break
        lowest = float(mid_hz[i])
    return lowest


def reached(pairs: Sequence[Pairing], target: Target) -> tuple[str, ...]:
    """Sentences on what was above the target and is not any more."""
    said = []
    for pair in sorted(pairs, key=lambda pair: -pair.before.worst_db):
        after = pair.after.worst_db if pair.after is not None else -np.inf
        if in_window(pair.before, target) and pair.before.worst_db > target.level_db >= after:
            now = f"{after:.1f} dB" if np.isfinite(after) else "nothing"
            said.append(
                f"{pair.before.loudspeaker}, {pair.before.way} at {pair.before.main.delay_ms:.1f} ms: "
                f"{pair.before.worst_db:.1f} dB before, {now} now."
            )
    return tuple(said)


def octave(frequency_hz: float) -> str:
    """Such as "500 Hz" or "2 kHz"."""
    return f"{frequency_hz / 1000:g} kHz" if frequency_hz >= 1000.0 else f"{frequency_hz:g} Hz"


def after_in_worst_band(pair: Pairing) -> float:
    """Level after, in the octave that was worst before; -inf when the arrival is gone."""
    if pair.after is None:
        return -np.inf
    worst = int(np.argmin(np.abs(pair.before.level_db - pair.before.worst_db)))
    return float(pair.after.level_db[worst])
