"""The sentence that answers: what is worst now, against the target and against before."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Target
from sim.blueprint.units import small_words
from sim.errors import BounceplanError, SceneError
from sim.propagation.paths import FRAGILE_M
from sim.showing.numbers import db_beside, db_change, db_words, hertz, joined
from sim.studies.view.snapshot import Listed, Snapshot

ALIKE_DB: Final = 0.5
"""Levels of left and right that differ by less are said in one."""
SAME_DB: Final = 0.5
"""A smaller change is none to the ear (common practice, no source)."""
LARGEST_CHANGE_HZ: Final = 125.0


def answer(now: Snapshot, before: Snapshot | None, target: Target, names: Sequence[str], units: str) -> str:
    """Say in a sentence or two what is worst, how it stands to the target, and what has changed."""
    if now.warnings:
        return f"Settle this first: {now.warnings[0]}"
    if now.hidden:
        return (
            f"Something blocks the direct sound of the {joined([names[s] for s in now.hidden])} monitor: move it first."
        )
    worst = strongest(now)
    if worst is None:
        return "No reflection is listed inside the target's window."
    who = _who(now, worst, names)
    over = worst.worst_db - target.level_db
    level = db_beside(worst.worst_db, target.level_db)
    place = f"{worst.delay_ms:.1f} ms after the direct sound ({who})"
    against = f"{_whole(over)} above" if over > 0.0 else "under"
    first = (
        f"Strongest is the {worst.via} reflection: {level}, {place}, {against} the target of {target.level_db:g} dB."
    )
    return " ".join([first, *_changes(worst, now, before, target, units)])


def strongest(now: Snapshot) -> Listed | None:
    """The reflection with the highest level inside the window of the target, else None."""
    return max((one for one in now.reflections if one.in_window), key=lambda one: one.worst_db, default=None)


def change_db(one: Listed, before: Snapshot | None) -> float | None:
    """By how much a reflection is stronger than before, None where it was not there or there is nothing alike."""
    if before is None:
        return None
    same = next((other for other in before.reflections if other.key == one.key), None)
    return None if same is None else one.worst_db - same.worst_db


def _changes(worst: Listed, now: Snapshot, before: Snapshot | None, target: Target, units: str) -> list[str]:
    if before is None:
        return []
    told = []
    was = strongest(before)
    change = change_db(worst, before)
    if was is not None and was.via != worst.via:
        told.append(f"Before it was the {was.via}, {db_words(was.worst_db)}.")
    elif change is not None and abs(change) >= SAME_DB:
        told.append(f"That is {db_change(change)} {'stronger' if change > 0.0 else 'weaker'} than before.")
    above, were = number_above(now, target), number_above(before, target)
    if above != were:
        told.append(f"{_count(above)} above it ({were} before).")
    if worst.margin_m < FRAGILE_M:
        told.append(f"It is fragile: {small_words(worst.margin_m, units)} more and it is gone.")
    return told


def number_above(now: Snapshot, target: Target) -> int:
    """How many first reflections inside the window are above the target: those that every frame knows."""
    return sum(
        one.in_window and one.order == 1 and not one.diffracted and one.worst_db > target.level_db
        for one in now.reflections
    )


def _count(number: int) -> str:
    return f"{number} first reflection is" if number == 1 else f"{number or 'No'} first reflections are"


def _whole(over_db: float) -> str:
    return "less than 1 dB" if over_db < 1.0 else f"{over_db:.0f} dB"


def _who(now: Snapshot, worst: Listed, names: Sequence[str]) -> str:
    alike = [
        one.loudspeaker
        for one in now.reflections
        if one.via == worst.via and abs(one.worst_db - worst.worst_db) < ALIKE_DB
    ]
    return joined([names[s] for s in sorted(dict.fromkeys([worst.loudspeaker, *alike]))])


NUMBERED: Final = re.compile(r"(loudspeakers|furniture|panels)\[(\d+)\](?:\.\w+)*")


def refusal_words(fault: BounceplanError, things: Sequence[Mapping[str, Any]], blueprint: Blueprint) -> str:
    """The sentence of a fault, with a thing and its number called what the page calls them, and not by their keys."""
    if not isinstance(fault, SceneError):
        return str(fault)
    numbered = NUMBERED.fullmatch(fault.where)
    if numbered is not None and int(numbered[2]) < len(getattr(blueprint, numbered[1])):
        kind = " monitor" if numbered[1] == "loudspeakers" else ""
        name = getattr(blueprint, numbered[1])[int(numbered[2])].name
        return str(SceneError(f"{name}{kind}", fault.found, fault.remedy))
    for thing in things:
        for field in thing["fields"]:
            if fault.where == field["name"] or fault.where.startswith(f"{field['name']} "):
                kind = " monitor" if thing["kind"] == "loudspeaker" else ""
                where = f"{thing['name']}{kind}, {field['words']}{fault.where[len(field['name']) :]}"
                return str(SceneError(where, fault.found, fault.remedy))
    return str(fault)


def surface_words(name: str, now: Snapshot, names: Sequence[str]) -> str:
    """Say what a surface does: what it reflects to the ear, and where the curve would change most without it."""
    parts = []
    for s, who in enumerate(names):
        mine = [one for one in now.reflections if one.loudspeaker == s and name in one.surfaces]
        if mine:
            best = max(mine, key=lambda one: one.worst_db)
            more = "" if len(mine) == 1 else f" and {len(mine) - 1} more"
            parts.append(f"{who}: {db_words(best.worst_db)} at {best.delay_ms:.1f} ms{more}")
    told = f"{name}: " + ("; ".join(parts) if parts else "nothing of it reaches the ear among the strongest") + "."
    return told + _without_words(name, now)


def _without_words(name: str, now: Snapshot) -> str:
    without: Mapping[str, object] = now.without_db
    if name not in without or not now.curve_db.size:
        return ""
    judged = now.third_octaves_hz >= max(now.judged_from_hz, LARGEST_CHANGE_HZ)
    change = (now.without_db[name] - now.curve_db)[:, judged]
    s, place = divmod(int(abs(change).argmax()), change.shape[1])
    value = float(change[s, place])
    if abs(value) < SAME_DB:
        return " Without it the curve hardly changes."
    at = hertz(float(now.third_octaves_hz[judged][place]))
    return f" Without it the curve would be {db_change(value)} {'higher' if value > 0.0 else 'lower'} at {at}."
