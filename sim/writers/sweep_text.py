"""A sweep in words: the best settings as a range, where reflections appear and leave, and what nothing helps."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from ..acoustics.decibels import SILENCE_DB
from ..studies.fields import Field
from ..studies.sweep_findings import Findings, Stubborn
from ..studies.sweep_plan import SweepTask
from ..studies.sweep_records import DONE, IMPOSSIBLE, OPEN, Axis, Sweep
from ..studies.sweep_regions import EQUAL_DB, Region, merit_db
from ..studies.sweep_thresholds import Threshold
from .lengths import format_length

MOST_REGIONS: Final = 3
MOST_THRESHOLDS: Final = 16
MOST_STUBBORN: Final = 5
MOST_REASONS: Final = 3
TURNED: Final = {"tilt_deg": "Tilting", "toe_in_deg": "Toeing in", "roll": "Rolling", "turn_deg": "Turning"}


def sweep_lines(sweep: Sweep, task: SweepTask, found: Findings) -> list[str]:
    """Return the lines of sweep.txt."""
    plan = sweep.plan
    counts = {state: int((sweep.state == state).sum()) for state in (OPEN, DONE, IMPOSSIBLE)}
    lines = [f"Sweep: {plan.title}", ""]
    for axis in plan.axes:
        low, high = float(axis.values.min()), float(axis.values.max())
        lines.append(f"  {axis.words}: {len(axis.values)} values from {axis.told(low)} to {axis.told(high)}")
    together = ", side by side" if plan.together and len(plan.axes) > 1 else ""
    lines.append(f"  {plan.points} layouts{together}, first reflections off flat surfaces only")
    if counts[OPEN]:
        lines.append(f"  {counts[OPEN]} of them are not worked out yet; give the same command again to continue")
    if counts[IMPOSSIBLE]:
        lines += ["", f"Impossible: {counts[IMPOSSIBLE]} of {plan.points}", *_reasons(sweep)]
    if found.best < 0:
        return [*lines, "", "None of the layouts is possible." if not counts[OPEN] else "No layout is known yet."]
    lines += ["", "Best settings", *_best(sweep, found)]
    lines += ["", "Where reflections appear and leave", *_thresholds(sweep, found)]
    stubborn = list(_stubborn(sweep, task, found))
    if stubborn:
        lines += ["", "What stays", *stubborn]
    if found.limits:
        lines += ["", "Limits"]
        for limit in found.limits:
            axis = plan.axes[limit.axis]
            lines.append(f"  {axis.field} = {axis.told(limit.value)}: {limit.words}")
    return lines


def _reasons(sweep: Sweep) -> Iterator[str]:
    """The first impossible layouts with different reasons."""
    seen: set[str] = set()
    for point in sorted(sweep.reasons):
        where = sweep.reasons[point].split(":")[0]
        if where not in seen and len(seen) < MOST_REASONS:
            seen.add(where)
            yield f"  {setting(sweep, point)}: {sweep.reasons[point]}"
    if len(sweep.reasons) > len(seen):
        yield f"  and {len(sweep.reasons) - len(seen)} more; sweep_summary.csv has all reasons"


def setting(sweep: Sweep, point: int) -> str:
    """One point in words: "left.tilt = 4 degrees, ear.up = 1.2 m"."""
    values = sweep.plan.values(point)
    return ", ".join(f"{axis.field} = {axis.told(value)}" for axis, value in zip(sweep.plan.axes, values, strict=True))


def _best(sweep: Sweep, found: Findings) -> Iterator[str]:
    plan, best = sweep.plan, found.best
    merit = merit_db(sweep)
    yield (
        f"  judged by the energy of all first reflections from {plan.target.window_ms[0]:g} to "
        f"{plan.target.window_ms[1]:g} ms, mean of the octaves {plan.target.band_hz[0]:g} to "
        f"{plan.target.band_hz[1]:g} Hz, of the louder loudspeaker;"
    )
    yield f"  all within {EQUAL_DB:g} dB of the best ({_db(float(merit[best]))}) are called equal:"
    for number, region in enumerate(found.regions[:MOST_REGIONS]):
        yield f"  {'or ' if number else ''}{_region(plan.axes, region)}"
    if len(found.regions) > MOST_REGIONS:
        yield f"  and {len(found.regions) - MOST_REGIONS} smaller regions"
    over = float(sweep.figures.over_target_db[best].max())
    target = f"the target of {plan.target.level_db:g} dB"
    met = f"{over:.1f} dB over {target}" if over > 0.0 else f"{-over:.1f} dB below {target}"
    yield f"  the strongest single reflection there is {met if np.isfinite(over) else 'none: no first reflection'}"
    if found.now is not None:
        yield f"  the scene as it stands: {_db(float(found.now.early_db.max()))}"
    if found.regions and found.regions[0].points == int((sweep.state == DONE).sum()):
        yield f"  Nothing here makes a difference: all layouts that are possible lie within {EQUAL_DB:g} dB."
    elif not found.helps:
        yield f"  Nothing in this range helps: no setting is better by more than {EQUAL_DB:g} dB than the scene now."


def _region(axes: Sequence[Axis], region: Region) -> str:
    parts = []
    for axis, (low, high), ends in zip(axes, region.ranges, region.ends, strict=True):
        if all(ends) and len(axis.values) > 1:
            parts.append(f"{axis.field} anywhere from {axis.told(low)} to {axis.told(high)}")
            continue
        told = axis.told(low) if low == high else f"from {axis.told(low)} to {axis.told(high)}"
        beyond = ", an end of its range: look beyond it" if any(ends) and len(axis.values) > 2 else ""
        parts.append(f"{axis.field} {'= ' if low == high else ''}{told}{beyond}")
    count = f"{region.points} setting{'s' if region.points > 1 else ''}"
    return f"{'; '.join(parts)}: {count}" + ("" if region.full else ", not every combination inside")


def _thresholds(sweep: Sweep, found: Findings) -> list[str]:
    """One line for what happens at one setting on one surface, loudspeakers and drivers together."""
    axes = sweep.plan.axes
    if sweep.plan.together and len(axes) > 1:
        return ["  not told for fields that run side by side"]
    groups: dict[tuple[int, str, bool, float], list[Threshold]] = {}
    for one in found.thresholds:
        near = (key for key in groups if key[:3] == (one.axis, one.surface, one.appears))
        same = next((key for key in near if abs(key[3] - one.value) <= _grain(axes[one.axis])), None)
        groups.setdefault(same or (one.axis, one.surface, one.appears, one.value), []).append(one)
    lines = []
    for (number, surface, appears, value), members in list(groups.items())[:MOST_THRESHOLDS]:
        axis = axes[number]
        drivers = _listed(list(dict.fromkeys(one.driver for one in members)))
        names = _listed(list(dict.fromkeys(one.loudspeaker for one in members)))
        happens = "appears" if appears else "leaves"
        lines.append(
            f"  {axis.field} = {_fine(axis, value)}: the {drivers} of {names} {happens} on the {surface}"
            f" ({_db(members[0].level_db)} next to it)"
        )
    if len(groups) > MOST_THRESHOLDS:
        lines.append(f"  and {len(groups) - MOST_THRESHOLDS} weaker ones")
    if len(axes) > 1 and lines:
        lines.insert(0, f"  along each field, the others at {setting(sweep, found.best)}")
    return lines or ["  none does: every first reflection is there all along, or never"]


def _grain(axis: Axis) -> float:
    """Settings nearer than this are one: half a millimetre, a twentieth of a degree."""
    return 0.05 if axis.unit in ("degrees", "") else 5.0e-4


def _fine(axis: Axis, value: float) -> str:
    if axis.unit == "degrees":
        return f"{value + 0.0:.1f} degrees"
    return f"{value:.4g}" if axis.unit == "" else format_length(value, axis.unit)


def _stubborn(sweep: Sweep, task: SweepTask, found: Findings) -> Iterator[str]:
    """What a piece that varies keeps mirroring, else the loudest of what is always there; then the others in short."""
    own = [one for one in found.stubborn if _is_own(task.fields[one.axis], one)]
    told = own or list(found.stubborn[:1])
    for one in told[:MOST_STUBBORN]:
        yield f"  {cleared_by(task.fields[one.axis], sweep.plan.axes[one.axis], task, one)}"
    others = [f"{one.surface} ({_db(one.most_db)})" for one in found.stubborn if one not in told][:MOST_STUBBORN]
    if others:
        yield f"  In every layout there too: {_listed(others)}."


def _is_own(field: Field, one: Stubborn) -> bool:
    """Whether a surface belongs to the piece of furniture that a field varies."""
    return field.places[0][0] == "furniture" and one.surface.startswith(f"{field.name.rpartition('.')[0]} ")


def cleared_by(field: Field, axis: Axis, task: SweepTask, one: Stubborn) -> str:
    """Say that no setting clears a reflection: "Tilting this desk by up to 15 degrees does not clear the point"."""
    own = _is_own(field, one)
    thing, key = field.name.rpartition(".")[0], field.places[0][-1]
    what = f"this {thing}" if field.places[0][0] == "furniture" else thing
    if len(field.places) > 1:
        what += f" and {task.blueprint.loudspeakers[int(field.places[1][1])].name}"
    if key in TURNED:
        furthest = float(np.abs(axis.values).max())
        does = f"{TURNED[str(key)]} {what} by up to {axis.told(furthest)}"
    else:
        low, high = float(axis.values.min()), float(axis.values.max())
        does = f"{axis.field} anywhere from {axis.told(low)} to {axis.told(high)}"
    where = "the point" if own else f"the point on the {one.surface}"
    levels = f"{_db(one.least_db)} to {_db(one.most_db)}"
    mirror = f"the {one.surface} mirrors" if own else "it mirrors"
    return f"{does} does not clear {where}: {mirror} {_listed(list(one.loudspeakers))} throughout, {levels}."


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _db(level: float) -> str:
    return f"{level:.1f} dB" if level > SILENCE_DB else "nothing"
