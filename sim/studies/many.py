"""Any number of layouts in one table: what each achieves, what it costs in panels, and which are worth a look.

Levels are those of everything that was traced, edges and second bounces included, at the first seat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..acoustics.decibels import SILENCE_DB, level_db
from ..arrays import BoolArray, FloatArray, IntArray, frozen
from ..blueprint.furniture import Desk
from ..errors import SceneError
from ..responses.arrivals import in_target_band, in_window
from ..responses.results import Results
from .compare import early_level_db, letter_of
from .scene_differences import Difference, differences
from .surface_changes import heard

EQUAL_DB: Final = 0.5
"""Layouts whose figures differ by no more are called equal (common practice, no source)."""

EQUAL: Final = np.array([EQUAL_DB, EQUAL_DB, 0.0])
PRICE_SHARE: Final = 0.05
"""Half a decibel weighs as much as one panel, or as this share of the dearest layout, where costs are summed up."""


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
        (layout, 3) what layouts are judged by there: dB over the target of the louder side, difference of left and
        right, and price, or number of panels where prices are not known.
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
    names = [tuple(one.name for one in result.stage.loudspeakers) for result in results]
    for result, own in zip(results, names, strict=True):
        if len(own) != len(names[0]):
            raise SceneError(
                f"{result.scene.path}, loudspeakers", f"it has {len(own)} and the first layout {len(names[0])}",
                "compare layouts with the same number of loudspeakers",
            )  # fmt: skip
    early = np.array([[_early_db(result, name) for name in own] for result, own in zip(results, names, strict=True)])
    over = np.array([[_over_db(result, name) for name in own] for result, own in zip(results, names, strict=True)])
    notch = [[_desk_notch_hz(result, name) for name in own] for result, own in zip(results, names, strict=True)]
    sides = early[:, 0] - early[:, -1] if len(names[0]) > 1 else np.full(len(results), np.nan)
    panels = np.array([len(result.stage.panels) for result in results])
    mass = np.array([sum((one.mass_kg for one in result.stage.panels), 0.0) for result in results])
    price = np.array([sum((one.price for one in result.stage.panels), 0.0) for result in results])
    priced = bool(np.isfinite(price).all() and (price > 0.0).any())
    step = max(PRICE_SHARE * float(price.max()), 1.0e-9) if priced else 1.0
    costs = np.column_stack([over.max(axis=1), np.nan_to_num(np.abs(sides)), price if priced else panels])
    return Many(
        titles=tuple(result.scene.blueprint.title for result in results),
        letters=tuple(letter_of(number) for number in range(len(results))),
        loudspeakers=tuple(names), early_db=frozen(early), over_target_db=frozen(over),
        above_target=frozen(np.array([_above_target(result) for result in results])), left_right_db=frozen(sides),
        desk_notch_hz=frozen(np.array(notch)), panels=frozen(panels), mass_kg=frozen(mass), price=frozen(price),
        changes=tuple(differences(results[0].scene.blueprint, result.scene.blueprint) for result in results),
        front=frozen(pareto_front(costs, EQUAL, np.array([EQUAL_DB, EQUAL_DB, step]))), costs=frozen(costs),
        cost_word="price" if priced else "panels",
    )  # fmt: skip


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
    ear = result.stage.listener_names[0]
    return sum(len(one.offenders) for one in result.responses.verdicts if one.listener == ear)


def _desk_notch_hz(result: Results, loudspeaker: str) -> float:
    """First notch of the loudest first reflection off the top of a desk or console."""
    desks = {item.name for item in result.scene.blueprint.furniture if isinstance(item, Desk)}
    tops = [
        one
        for one in heard(result, loudspeaker)
        if one.order == 1 and not one.bent and one.owners[0] in desks and one.surfaces[0].endswith(" top")
    ]
    loudest = max(tops, key=lambda one: one.worst_db, default=None)
    return float("nan") if loudest is None else float(loudest.notches_hz[0])
