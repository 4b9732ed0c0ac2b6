"""Any number of layouts in one table: what each achieves, what it costs, how its scene differs.

Things are matched by their names; values are told in the unit of the first scene.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from sim.acoustics.levels import SILENCE_DB, level_db
from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.writing import is_length
from sim.errors import SceneError
from sim.responses.arrivals import in_target_band, in_window
from sim.responses.measure import SAME_DB, measure_of
from sim.responses.records import Results
from sim.showing.numbers import in_unit
from sim.showing.words import letter_of
from sim.studies.compare.comparison import early_level_db
from sim.studies.compare.surfaces import heard

NAMED: Final = ("loudspeakers", "furniture", "openings", "panels", "keep_clear")
NOT_REPORTED: Final = ("title", "notes", "units", "note")
SPANS: Final = ("from_front", "from_left", "up")
SAME: Final = 1.0e-6


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs.

    Attributes
    ----------
    things
        Names of what it is about; several when the same happens to all, such as left and right.
    key
        The key in the scene file, empty when the thing itself is new or gone.
    before, after
        The values as words; empty where there is none.
    """

    things: tuple[str, ...]
    key: str
    before: str
    after: str

    @property
    def words(self) -> str:
        """The whole in words: "left and right: tilt_deg 0, then 4"."""
        who = self.things[0] if len(self.things) == 1 else f"{', '.join(self.things[:-1])} and {self.things[-1]}"
        if not self.key:
            return f"{who} {'is' if len(self.things) == 1 else 'are'} {'new' if self.after else 'gone'}"
        return f"{who}: {self.key} {self.before or 'not given'}, then {self.after or 'not given'}"


def differences(first: Blueprint, other: Blueprint) -> tuple[Difference, ...]:
    """Find what differs in another scene, in the order of the scene file; titles and notes do not count."""
    before, after = dict(_values(first)), dict(_values(other))
    things = [dict.fromkeys(thing for thing, _ in one) for one in (before, after)]
    found: list[Difference] = []
    for thing, key in dict.fromkeys([*before, *after]):
        if (thing in things[0]) != (thing in things[1]):
            if not any(one.things == (thing,) for one in found):
                found.append(
                    Difference(
                        (thing,), "", "there" if thing in things[0] else "", "there" if thing in things[1] else ""
                    )
                )
            continue
        pair = before.get((thing, key)), after.get((thing, key))
        if not _same(*pair):
            reported = [_reported(key, value, first.units) for value in pair]
            if reported[0] != reported[1]:
                found.append(Difference((thing,), key, reported[0], reported[1]))
    return _together(found)


def _together(found: Sequence[Difference]) -> tuple[Difference, ...]:
    """Tell what happens alike to several things once."""
    groups: dict[tuple[str, str, str], list[str]] = {}
    for one in found:
        groups.setdefault((one.key, one.before, one.after), []).extend(one.things)
    return tuple(Difference(tuple(things), *what) for what, things in groups.items())


def _values(blueprint: Blueprint) -> Iterator[tuple[tuple[str, str], Any]]:
    """Every value of a scene under the thing it belongs to and its dotted key."""
    reported = blueprint.model_dump()
    for section, content in reported.items():
        if section in NOT_REPORTED:
            continue
        if section in NAMED:
            for item in content:
                for key, value in _leaves({k: v for k, v in item.items() if k != "name"}, ""):
                    yield (item["name"], key), value
        elif section in ("models", "materials"):
            for name, item in content.items():
                for key, value in _leaves(item, ""):
                    yield (f"{section[:-1]} {name}", key), value
        else:
            for key, value in _leaves(content, ""):
                yield (section.replace("listener", "seat"), key), value


def _leaves(value: Any, key: str) -> Iterator[tuple[str, Any]]:
    if isinstance(value, Mapping):
        for name, inner in value.items():
            if name not in NOT_REPORTED:
                yield from _leaves(inner, f"{key}.{name}" if key else str(name))
    elif value is not None:
        yield key, value


def _same(one: Any, other: Any) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) < SAME
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(_same(a, b) for a, b in zip(one, other, strict=True))
    return bool(one == other)


def _reported(key: str, value: Any, units: str) -> str:
    """A value as words: lengths in the unit, everything else as it is."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f'"{value}"'
    last = key.rpartition(".")[2]
    if isinstance(value, int | float):
        if is_length(last):
            return f"{round(in_unit(float(value), units), 4) + 0.0:g} {units}"
        return f"{round(float(value), 4) + 0.0:g}"
    if isinstance(value, list | tuple):
        if last in SPANS and len(value) == 2:
            return " to ".join(_reported(last, end, units) for end in value)
        inner = [_reported(last, each, units) for each in value if not isinstance(each, Mapping)]
        return ", ".join(inner) if len(inner) == len(value) else f"{len(value)} of them"
    return str(value)


# Any number of layouts in one table: what each achieves, what it costs in panels, and which are worth a look.
#
# Levels are those of everything that was traced, edges and second bounces included, at the first seat.

EQUAL_DB: Final = 0.5
"""Layouts whose left and right differ by no more are called equal (common practice, no source)."""

EQUAL: Final = np.array([SAME_DB, EQUAL_DB, 0.0])
PRICE_FRACTION: Final = 0.05
"""One decibel of the measure weighs as much as one panel, or as this share of the dearest layout, in a sum of costs."""


@dataclass(frozen=True, slots=True)
class Many:
    """Layouts side by side, the first being the one the others are compared with.

    Attributes
    ----------
    titles, letters
        For each layout its title, and A, B, ... Z, AA, AB and so on.
    loudspeakers
        (layout) names of the loudspeakers there.
    early_db
        (layout, loudspeaker) energy of all that arrives inside the target's window, mean of its octaves, re direct.
    over_target_db
        (layout, loudspeaker) strongest single arrival inside the window less the target's level.
    above_target
        (layout,) how many arrivals are above the target, of all loudspeakers.
    left_right_db
        (layout,) early level of the first loudspeaker less that of the last; nan with one loudspeaker.
    desk_notch_hz
        (layout, loudspeaker) first notch that the desk's top makes, nan where it sends nothing.
    panels, mass_kg, price
        (layout,) number of panels, their whole mass, and price; nan where one of them has no price.
    changes
        (layout) what each changes against the first.
    front
        (layout,) whether no other layout here is better: see `pareto_front`.
    costs
        (layout, 3) what layouts are judged by there: the measure in dB, difference of left and right, and price, or
        number of panels where prices are not known.
    cost_word
        "price" or "panels": what the third of these is.
    """

    titles: tuple[str, ...]
    letters: tuple[str, ...]
    loudspeakers: tuple[tuple[str, ...], ...]
    early_db: FloatArray
    over_target_db: FloatArray
    above_target: IntArray
    left_right_db: FloatArray
    desk_notch_hz: FloatArray
    panels: IntArray
    mass_kg: FloatArray
    price: FloatArray
    changes: tuple[tuple[Difference, ...], ...]
    front: BoolArray
    costs: FloatArray
    cost_word: str


def compare_many(results: Sequence[Results]) -> Many:
    """Put layouts side by side.

    Raises
    ------
    SceneError
        If a layout has more or fewer loudspeakers than the first.
    """
    names = [tuple(one.name for one in result.built.loudspeakers) for result in results]
    for result, own in zip(results, names, strict=True):
        if len(own) != len(names[0]):
            raise SceneError(
                f"{result.scene.path}, monitors",
                f"it has {len(own)} and the first layout {len(names[0])}",
                "compare layouts with the same number of monitors",
            )
    early = np.array([[_early_db(result, name) for name in own] for result, own in zip(results, names, strict=True)])
    over = np.array([[_over_db(result, name) for name in own] for result, own in zip(results, names, strict=True)])
    notch = [[_desk_notch_hz(result, name) for name in own] for result, own in zip(results, names, strict=True)]
    sides = early[:, 0] - early[:, -1] if len(names[0]) > 1 else np.full(len(results), np.nan)
    panels = np.array([len(result.built.panels) for result in results])
    mass = np.array([sum((one.mass_kg for one in result.built.panels), 0.0) for result in results])
    price = np.array([sum((one.price for one in result.built.panels), 0.0) for result in results])
    priced = bool(np.isfinite(price).all() and (price > 0.0).any())
    step = max(PRICE_FRACTION * float(price.max()), 1.0e-9) if priced else 1.0
    measures = np.array([measure_of(result).total_db for result in results])
    costs = np.column_stack([measures, np.nan_to_num(np.abs(sides)), price if priced else panels])
    return Many(
        titles=tuple(result.scene.blueprint.title for result in results),
        letters=tuple(letter_of(number) for number in range(len(results))),
        loudspeakers=tuple(names),
        early_db=frozen(early),
        over_target_db=frozen(over),
        above_target=frozen(np.array([_above_target(result) for result in results])),
        left_right_db=frozen(sides),
        desk_notch_hz=frozen(np.array(notch)),
        panels=frozen(panels),
        mass_kg=frozen(mass),
        price=frozen(price),
        changes=tuple(differences(results[0].scene.blueprint, result.scene.blueprint) for result in results),
        front=frozen(pareto_front(costs, EQUAL, np.array([SAME_DB, EQUAL_DB, step]))),
        costs=frozen(costs),
        cost_word="price" if priced else "panels",
    )


def pareto_front(costs: FloatArray, equal: FloatArray, worth: FloatArray) -> BoolArray:
    """Whether each row (n,) of costs (n, k), less being better, is dominated by none.

    One row dominates another when it is somewhere better by more than `equal` (k,), nowhere worse by more than that,
    and better on the whole when every cost is counted in its `worth` (k,).  The last keeps three layouts, each a
    little worse than the next, from ruling each other out: at least one row is always in front.
    """
    mine, others = costs[:, None], costs[None]
    better = (mine < others - equal).any(axis=2) & (mine <= others + equal).all(axis=2)
    on_the_whole = (costs / worth).sum(axis=1)
    return np.asarray(~(better & (on_the_whole[:, None] < on_the_whole[None])).any(axis=0))


def _early_db(result: Results, loudspeaker: str) -> float:
    judged = in_target_band(result.responses.bands, result.scene.blueprint.target)
    energy = 10.0 ** (early_level_db(result, loudspeaker)[judged] / 10.0)
    return float(level_db(energy.mean()))


def _over_db(result: Results, loudspeaker: str) -> float:
    target = result.scene.blueprint.target
    levels = [one.worst_db for one in heard(result, loudspeaker) if in_window(one, target)]
    return max(levels, default=SILENCE_DB) - target.level_db


def _above_target(result: Results) -> int:
    ear = result.built.listener_names[0]
    return sum(len(one.offenders) for one in result.responses.verdicts if one.listener == ear)


def _desk_notch_hz(result: Results, loudspeaker: str) -> float:
    """First notch of the loudest first reflection off the top of a desk or console."""
    desks = {item.name for item in result.scene.blueprint.furniture if item.worked_at}
    tops = [
        one
        for one in heard(result, loudspeaker)
        if one.order == 1 and not one.diffracted and one.owners[0] in desks and one.surfaces[0].endswith(" top")
    ]
    loudest = max(tops, key=lambda one: one.worst_db, default=None)
    return float("nan") if loudest is None else float(loudest.notches_hz[0])
