"""What is still above the target with all panels in place, and why."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import FloatArray
from ..blueprint.targets import Target
from ..responses.arrivals import in_window
from ..responses.records import Arrival
from .ground import Ground, Spot
from .outcome import LEAST_CHANGE_DB, Pairing, is_under, octave, touches

MOST_SENTENCES = 12
TRIED_M = 0.05
MOVED_KINDS = frozenset({"desk", "bridge", "screen", "rack"})
"""Furniture that one can move, tilt or shrink."""


def not_reached(
    ground: Ground, spots: Sequence[Spot], pairs: Sequence[Pairing], target: Target, limit_words: str
) -> tuple[str, ...]:
    """Sentences on what is still above the target inside its window, the strongest first, each with its reason."""
    open_ = [
        pair for pair in pairs if pair.after is not None and in_window(pair.after, target)
        and pair.after.worst_db > target.level_db
    ]  # fmt: skip
    groups: dict[tuple[str, str], list[Pairing]] = {}
    for pair in sorted(open_, key=lambda pair: -_now(pair).worst_db):
        groups.setdefault((pair.before.way, _reason(ground, spots, pair, limit_words)), []).append(pair)
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
            f"{who}, {way} at {strongest.main.delay_ms:.1f} ms: {strongest.worst_db:.1f} dB in the "
            f"{octave(strongest.worst_band_hz)} octave. {reason}"
        )
    rest = [pair for members in list(groups.values())[MOST_SENTENCES:] for pair in members]
    if rest:
        most = max(_now(pair).worst_db for pair in rest)
        said.append(f"And {len(rest)} weaker ones, {most:.1f} dB at most; arrivals.csv has them all.")
    return tuple(said)


def outside_window(pairs: Sequence[Pairing], target: Target) -> tuple[str, ...]:
    """Sentences on single reflections that would be above the target but come later than its window."""
    found: dict[str, list[Arrival]] = {}
    for pair in pairs:
        now = pair.after
        if now is None or now.order != 1 or now.bent or in_window(now, target) or now.worst_db <= target.level_db:
            continue
        found.setdefault(pair.before.way, []).append(now)
    return tuple(
        f"{_listed([each.loudspeaker for each in members])}, {way} at {members[0].main.delay_ms:.1f} ms: "
        f"{max(each.worst_db for each in members):.1f} dB, outside the window of {target.window_ms[0]:g} to "
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


def _reason(ground: Ground, spots: Sequence[Spot], pair: Pairing, limit_words: str) -> str:
    arrival = _now(pair)
    pieces = list(dict.fromkeys(owner for owner in arrival.owners if owner != "room"))
    if arrival.bent:
        return f"Sound bends round an edge of the {_listed(pieces)}; panels on walls do not act on that."
    met = list(touches(ground, arrival))
    if not met:
        if not pieces:
            return "It stays on surfaces that get no panels."
        if any("loudspeaker" in piece for piece in pieces):
            return "A loudspeaker's box mirrors it: move or turn the boxes."
        return _of_furniture(ground, pieces)
    covered = [(n, p) for n, p in met if any(is_under(ground, spot, n, p) for spot in spots)]
    movable = ground.blueprint.treatment.movable
    blocked = [
        reason
        for n, p in met
        if (n, p) not in covered
        for reason in ground.zones[0][n].reasons_at(p, movable)
    ]  # fmt: skip
    free = len(met) > len(covered) + bool(blocked)
    if covered and len(covered) == len(met):
        drop = _drop_db(pair)
        if drop < LEAST_CHANGE_DB:
            return "A panel is at its point, but is too small for this octave or near its edge."
        return f"The panel takes {drop:.0f} dB off and is too small or too thin for more in this octave."
    if blocked and not free:
        return f"No panel can be there: {'; '.join(dict.fromkeys(blocked))}."
    if not any(fits_over(ground, n, p) for n, p in met if (n, p) not in covered):
        names = _listed([ground.surfaces[n].name for n, _ in met])
        return f"No panel in stock fits over its point: the {names} is too narrow there, or something is too near."
    return f"No panel is there: {limit_words}."


def fits_over(ground: Ground, surface: int, point: FloatArray) -> bool:
    """Whether any panel in stock could be placed over a point (3,) of a surface, tried in steps of 50 mm."""
    a, b, _ = ground.surfaces[surface].to_flat(point)
    for item in ground.stock:
        for width, height in item.sizes_m:
            for left in np.arange(0.0, width + 1e-9, TRIED_M):
                for low in np.arange(0.0, height + 1e-9, TRIED_M):
                    place = (a - left, b - low, a - left + width, b - low + height)
                    if ground.rule_at(surface, item.number, place) != "no":
                        return True
    return False


def _of_furniture(ground: Ground, pieces: Sequence[str]) -> str:
    """What to do about pieces that mirror sound."""
    kinds = {item.name: item.kind for item in ground.blueprint.furniture}
    if all(kinds.get(piece) in MOVED_KINDS for piece in pieces):
        return f"The {_listed(pieces)} mirrors it: move, tilt, lower or shrink it; no panel helps."
    return f"It meets nothing but the {_listed(pieces)}, and a plan puts no panels on furniture and beams."


def _listed(names: Sequence[str]) -> str:
    """Names as words: "left and right"."""
    names = list(dict.fromkeys(names))
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"
