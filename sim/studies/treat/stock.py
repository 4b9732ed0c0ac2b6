"""Panels in stock as a plan uses them: both ways round, with their build-up on each kind of surface, mass and price."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel, StockPanel
from sim.errors import SceneError
from sim.placement.finishes import LayeredFinish, layered_finishes
from sim.placement.panels import panel_mass_kg


@dataclass(frozen=True)
class StockItem:
    """One kind of panel in stock.

    sizes_m holds its sides along and up a surface: as written, and turned if that differs.  thickness_m is what it
    stands out without a gap behind.
    """

    number: int
    record: StockPanel
    sizes_m: tuple[tuple[float, float], ...]
    thickness_m: float

    @property
    def price(self) -> float:
        """Of one; 0 when not told, which only happens without a budget."""
        return self.record.price or 0.0


@dataclass(frozen=True)
class Limits:
    """How much a plan may use: panels in all, money, and how many of each kind there are."""

    panels: int
    budget: float
    available: tuple[int, ...]
    prices: tuple[float, ...]

    def allow(self, used: tuple[int, ...]) -> bool:
        """Whether these numbers of each kind are within all limits."""
        cost = sum(n * price for n, price in zip(used, self.prices, strict=True))
        enough = all(n <= most for n, most in zip(used, self.available, strict=True))
        return enough and sum(used) <= self.panels and cost <= self.budget + 1e-9

    @cached_property
    def none_used(self) -> tuple[int, ...]:
        """Nothing of any kind."""
        return (0,) * len(self.available)


MOST_PANELS = 40
"""Without a number or a budget a plan stops at this many, if nothing stops it before (our own choice)."""


def stock_of(blueprint: Blueprint) -> tuple[StockItem, ...]:
    """Return what is in stock, in the order of the scene."""
    items = []
    for number, record in enumerate(blueprint.treatment.stock):
        finish = finish_of(blueprint, record, 0.0)
        width, height = record.size
        sizes = ((width, height), (height, width)) if abs(width - height) > 1e-6 else ((width, height),)
        items.append(StockItem(number, record, sizes, finish.build_up.depth_m))
    return tuple(items)


def limits_of(blueprint: Blueprint, panels: int | None, budget: float | None) -> Limits:
    """Combine the scene's limits with those given now, which come first.

    Raises
    ------
    SceneError
        If no panel is allowed, or there is a budget and something in stock has no price.
    """
    asked = blueprint.treatment
    most = panels if panels is not None else asked.panels
    money = budget if budget is not None else asked.budget
    if most is not None and most < 1:
        raise SceneError("--panels", f"it is {most}", "give 1 or more, or leave it out")
    if money is not None and not money > 0.0:
        raise SceneError("--budget", f"it is {money:g}", "give an amount above zero, or leave it out")
    if money is not None:
        for record in asked.stock:
            if record.price is None:
                raise SceneError(
                    "treatment: stock",
                    f'there is a budget and "{record.name}" has no price',
                    "add price = 80 to every panel in stock",
                )
    return Limits(
        panels=MOST_PANELS if most is None else most,
        budget=float("inf") if money is None else money,
        available=tuple(MOST_PANELS if r.available is None else r.available for r in asked.stock),
        prices=tuple(r.price or 0.0 for r in asked.stock),
    )


def finish_of(blueprint: Blueprint, record: StockPanel, gap_m: float) -> LayeredFinish:
    """Return the layers of a stock panel with air behind it.

    Raises
    ------
    SceneError
        If its material has no layers.
    """
    sample = Panel.model_validate({"name": record.name, "surface": "any", "material": record.material, "gap": gap_m})
    found = layered_finishes(blueprint, (), (sample,))
    if not found:
        raise SceneError(
            f'treatment: stock "{record.name}"',
            f'its material "{record.material}" has no layers',
            'describe it in layers, such as material = "100 mm wool"',
        )
    return found[0]


def stock_mass_kg(item: StockItem, finish: LayeredFinish) -> float:
    """Mass of one: as told, else the estimate from its layers and a frame."""
    if item.record.mass_kg is not None:
        return item.record.mass_kg
    width, height = item.record.size
    corners: FloatArray = np.array([[0.0, 0, 0], [width, 0, 0], [width, height, 0], [0, height, 0]])
    return panel_mass_kg(finish, corners)
