"""What panels changed, arrival by arrival, and what is still above the target and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.treatment import Target
from sim.responses.arrivals import in_window
from sim.responses.records import Arrival, Results
from sim.showing.numbers import db_words, hertz, joined
from sim.studies.treat.domain import PlacementDomain, Spot

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


def touches(domain: PlacementDomain, arrival: Arrival) -> Iterator[tuple[int, FloatArray]]:
    """Number of the treatable surface and the point (3,), for each point at which an arrival meets one."""
    import shapely

    if arrival.diffracted:
        return
    for owner, point in zip(arrival.owners, arrival.main.points, strict=False):
        if owner != "room":
            continue
        for number, surface in enumerate(domain.surfaces):
            a, b, off = surface.to_flat(point)
            if abs(off) < ON_PLANE_M and surface.region.distance(shapely.Point(a, b)) < INSIDE_M:
                yield number, point
                break


def is_under(domain: PlacementDomain, spot: Spot, surface: int, point: FloatArray) -> bool:
    """Whether a panel covers a point of a surface."""
    if domain.surfaces[surface].plane != domain.surfaces[spot.surface].plane:
        return False
    a, b, _ = domain.surfaces[spot.surface].to_flat(point)
    a0, b0, a1, b1 = spot.rectangle
    return bool(a0 - INSIDE_M <= a <= a1 + INSIDE_M and b0 - INSIDE_M <= b <= b1 + INSIDE_M)


def covered_by(domain: PlacementDomain, spot: Spot, pairs: Sequence[Pairing], target: Target) -> list[Pairing]:
    """What a panel takes care of, inside the window: single reflections first, the strongest first."""
    found = []
    for pair in pairs:
        if not in_window(pair.before, target):
            continue
        if any(is_under(domain, spot, number, point) for number, point in touches(domain, pair.before)):
            found.append(pair)
    return sorted(found, key=lambda pair: (pair.before.order, -pair.before.worst_db))


def covers_words(covered: Sequence[Pairing]) -> tuple[str, ...]:
    """Such as "left, left wall at 4.9 ms: -12 to -22 dB in the 1 kHz octave"."""
    words = []
    for pair in covered:
        level = after_in_worst_band(pair)
        if pair.before.worst_db - level >= LEAST_CHANGE_DB:
            words.append(
                f"{pair.before.loudspeaker}, {pair.before.via} at {pair.before.main.delay_ms:.1f} ms: "
                f"{pair.before.worst_db:.0f} to {level:.0f} dB in the {hertz(pair.before.worst_band_hz)} octave"
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
            now = f"{db_words(after)}" if np.isfinite(after) else "nothing"
            said.append(
                f"{pair.before.loudspeaker}, {pair.before.via} at {pair.before.main.delay_ms:.1f} ms: "
                f"{db_words(pair.before.worst_db)} before, {now} now."
            )
    return tuple(said)


def after_in_worst_band(pair: Pairing) -> float:
    """Level after, in the octave that was worst before; -inf when the arrival is gone."""
    if pair.after is None:
        return -np.inf
    worst = int(np.argmin(np.abs(pair.before.level_db - pair.before.worst_db)))
    return float(pair.after.level_db[worst])


# What is still above the target with all panels in place, and why.

MOST_SENTENCES = 12
MOST_NAMED = 2
TRIED_M = 0.05


def not_reached(
    domain: PlacementDomain, spots: Sequence[Spot], pairs: Sequence[Pairing], target: Target, limit_words: str
) -> tuple[str, ...]:
    """Sentences on what is still above the target inside its window, the strongest first, each with its reason."""
    open_ = [
        pair
        for pair in pairs
        if pair.after is not None and in_window(pair.after, target) and pair.after.worst_db > target.level_db
    ]
    groups: dict[tuple[str, str], list[Pairing]] = {}
    for pair in sorted(open_, key=lambda pair: -_now(pair).worst_db):
        groups.setdefault((pair.before.via, _reason(domain, spots, pair, limit_words)), []).append(pair)
    said = []
    blamed = _furniture(open_)
    if blamed:
        said.append(
            f"The target of {target.level_db:.0f} dB cannot be met in this layout because of the {_listed(blamed)}, "
            "which no panel on a wall or ceiling acts on."
        )
    for (way, reason), members in list(groups.items())[:MOST_SENTENCES]:
        who = _listed(list(dict.fromkeys(_now(pair).loudspeaker for pair in members)))
        strongest = _now(members[0])
        said.append(
            f"{who}, {way} at {strongest.main.delay_ms:.1f} ms: {db_words(strongest.worst_db)} in the "
            f"{hertz(strongest.worst_band_hz)} octave. {reason}"
        )
    rest = [pair for members in list(groups.values())[MOST_SENTENCES:] for pair in members]
    if rest:
        most = max(_now(pair).worst_db for pair in rest)
        more = "1 weaker one" if len(rest) == 1 else f"{len(rest)} weaker ones"
        said.append(f"And {more}, {db_words(most)} at most; arrivals.csv has them all.")
    return tuple(said)


def no_cure(domain: PlacementDomain, pairs: Sequence[Pairing], target: Target) -> str:
    """One sentence on what is above the target and meets no surface that could get a panel."""
    out_of_reach = [
        pair.before
        for pair in pairs
        if in_window(pair.before, target)
        and pair.before.worst_db > target.level_db
        and not any(True for _ in touches(domain, pair.before))
    ]
    if not out_of_reach:
        return "Panels can reach everything that is above the target here."
    ways: dict[str, Arrival] = {}
    for arrival in sorted(out_of_reach, key=lambda one: -one.worst_db):
        ways.setdefault(arrival.via, arrival)
    named = [
        f"{way} ({db_words(one.worst_db)} at {one.main.delay_ms:.1f} ms)"
        for way, one in list(ways.items())[:MOST_NAMED]
    ]
    left = len(ways) - MOST_NAMED
    more = f", and {left} weaker {'one' if left == 1 else 'ones'}" if left > 0 else ""
    return f"No panel can cure {_listed(named)}{more}: change monitors, desk or seat first (bounceplan advise)."


def outside_window(pairs: Sequence[Pairing], target: Target) -> tuple[str, ...]:
    """Sentences on single reflections that would be above the target but come later than its window."""
    found: dict[str, list[Arrival]] = {}
    for pair in pairs:
        now = pair.after
        if now is None or now.order != 1 or now.diffracted or in_window(now, target) or now.worst_db <= target.level_db:
            continue
        found.setdefault(pair.before.via, []).append(now)
    return tuple(
        f"{_listed([each.loudspeaker for each in members])}, {way} at {members[0].main.delay_ms:.1f} ms: "
        f"{db_words(max(each.worst_db for each in members))}, outside the window of {target.window_ms[0]:g} to "
        f"{target.window_ms[1]:g} ms, so the target does not speak of it."
        for way, members in found.items()
    )


def _now(pair: Pairing) -> Arrival:
    return pair.after if pair.after is not None else pair.before


def _drop_db(pair: Pairing) -> float:
    """By how much the panels lower an arrival that is left, in the octave in which it is worst now."""
    if pair.after is None:
        return np.inf
    worst = int(np.argmin(np.abs(pair.after.level_db - pair.after.worst_db)))
    return float(pair.before.level_db[worst] - pair.after.level_db[worst])


def _furniture(open_: Sequence[Pairing]) -> list[str]:
    """Pieces that by themselves keep the target from being met, the worst first."""
    names = []
    for pair in sorted(open_, key=lambda pair: -_now(pair).worst_db):
        arrival = _now(pair)
        if all(owner != "room" for owner in arrival.owners) and not any("loudspeaker" in o for o in arrival.owners):
            names += list(arrival.owners)
    return list(dict.fromkeys(names))


def _reason(domain: PlacementDomain, spots: Sequence[Spot], pair: Pairing, limit_words: str) -> str:
    arrival = _now(pair)
    pieces = list(dict.fromkeys(owner for owner in arrival.owners if owner != "room"))
    if arrival.diffracted:
        return f"An edge of the {_listed(pieces)} diffracts it; panels on walls do not act on that."
    met = list(touches(domain, arrival))
    if not met:
        if not pieces:
            return "It stays on surfaces that get no panels."
        if any("loudspeaker" in piece for piece in pieces):
            return "It reflects off a monitor's cabinet: move or turn the monitors."
        return _of_furniture(domain, pieces)
    covered = [(n, p) for n, p in met if any(is_under(domain, spot, n, p) for spot in spots)]
    movable = domain.blueprint.treatment.movable
    blocked = [reason for n, p in met if (n, p) not in covered for reason in domain.zones[0][n].reasons_at(p, movable)]
    free = len(met) > len(covered) + bool(blocked)
    if covered and len(covered) == len(met):
        drop = _drop_db(pair)
        if drop < LEAST_CHANGE_DB:
            return "A panel is at its point, but is too small for this octave or near its edge."
        return f"The panel takes {drop:.0f} dB off and is too small or too thin for more in this octave."
    if blocked and not free:
        return f"No panel can be there: {'; '.join(dict.fromkeys(blocked))}."
    if not any(fits_over(domain, n, p) for n, p in met if (n, p) not in covered):
        names = _listed([domain.surfaces[n].name for n, _ in met])
        return f"No panel in stock fits over its point: the {names} is too narrow there, or something is too near."
    return f"No panel is there: {limit_words}."


def fits_over(domain: PlacementDomain, surface: int, point: FloatArray) -> bool:
    """Whether any panel in stock could be placed over a point (3,) of a surface, tried in steps of 50 mm."""
    a, b, _ = domain.surfaces[surface].to_flat(point)
    for item in domain.stock:
        for width, height in item.sizes_m:
            for left in np.arange(0.0, width + 1e-9, TRIED_M):
                for low in np.arange(0.0, height + 1e-9, TRIED_M):
                    place = (a - left, b - low, a - left + width, b - low + height)
                    if domain.rule_at(surface, item.number, place) != "no":
                        return True
    return False


def _of_furniture(domain: PlacementDomain, pieces: Sequence[str]) -> str:
    """What to do about pieces that mirror sound."""
    adjustable = {item.name for item in domain.blueprint.furniture if item.adjustable}
    if adjustable.issuperset(pieces):
        return f"The {_listed(pieces)} reflects it: move, tilt, lower or shrink it; no panel helps."
    return f"It meets nothing but the {_listed(pieces)}, and a plan puts no panels on furniture and beams."


def _listed(names: Sequence[str]) -> str:
    """Names as words, each once: "left and right"."""
    return joined(list(dict.fromkeys(names)))
