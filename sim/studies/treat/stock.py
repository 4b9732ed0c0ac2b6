"""Panels in stock as a plan uses them, and what each kind of absorber would do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands
from sim.acoustics.buildups import build_ups
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.acoustics.layers import AirGap, BuildUp, PorousLayer
from sim.acoustics.levels import pressure_level_db
from sim.acoustics.resonators import quarter_wave_hz, tuning
from sim.arrays import FloatArray, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel, StockPanel, stock_in
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene
from sim.placement.finishes import LayeredFinish, layered_finishes
from sim.placement.panels import panel_mass_kg
from sim.responses.plan import Decay
from sim.responses.statistical_decay import eyring_s
from sim.responses.transition import nominal_reverberation_s
from sim.showing.numbers import hertz


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
    for number, record in enumerate(stock_in(blueprint.treatment.stock, blueprint.units)):
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
        for record in stock_in(asked.stock, blueprint.units):
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


# What each kind of absorber would do, and what panels do to the decay of the whole room.
#
# Wool takes energy from moving air, and air moves most a quarter wavelength off the wall; at the wall it stands still
# and only pressure swings.  Membranes and perforated sheets work on pressure, best at walls and in corners, in a
# narrow range about their tuning (Kuttruff, Room Acoustics; Cox & D'Antonio, Acoustic Absorbers and Diffusers).

FREQUENCIES_HZ = np.geomspace(50.0, 8000.0, 400)
STEPS_DB = (3.0, 6.0, 10.0)
ROUND_HZ = 10.0
OCTAVE_LOWER = " A gap behind it as deep as itself would reach about an octave lower."


@dataclass(frozen=True)
class PorousReach:
    """From where a build-up takes 3, 6 and 10 dB off a single reflection at one angle; nan where it never does.

    quarter_wave_hz is where its face is a quarter wavelength off the wall (at normal incidence); nan without wool.
    """

    name: str
    angle_deg: float
    quarter_wave_hz: float
    from_hz: tuple[float, float, float]
    has_gap: bool


def porous_reach(build_up: BuildUp, angle_deg: float, air: Air) -> PorousReach:
    """Work out from where up to 8 kHz an endless panel takes off what it should."""
    factor = reflection_factor_at(build_up, FREQUENCIES_HZ, np.radians([angle_deg]), air)[0]
    taken = -pressure_level_db(factor)
    starts = []
    for step in STEPS_DB:
        short = np.flatnonzero(taken < step)
        last = int(short[-1]) + 1 if short.size else 0
        starts.append(float(FREQUENCIES_HZ[last]) if last < len(FREQUENCIES_HZ) else float("nan"))
    porous = any(isinstance(layer, PorousLayer) for layer in build_up.layers)
    quarter = quarter_wave_hz(build_up.depth_m, air) if porous and build_up.depth_m > 0.0 else float("nan")
    has_gap = any(isinstance(layer, AirGap) for layer in build_up.layers)
    return PorousReach(build_up.name, angle_deg, quarter, (starts[0], starts[1], starts[2]), has_gap)


def pressure_absorbers(below_hz: float, air: Air) -> list[tuple[str, float]]:
    """Library build-ups that are tuned below a frequency by a membrane or a perforated sheet: name and tuning in Hz."""
    found = []
    for name, build_up in build_ups().items():
        tuned = tuning(build_up, air)
        if tuned is not None and tuned.kind != "porous layer" and tuned.frequency_hz < below_hz:
            found.append((name, tuned.frequency_hz))
    return sorted(found, key=lambda each: each[1])


def kinds_advice(reaches: Sequence[PorousReach], transition_hz: float, air: Air) -> tuple[str, ...]:
    """Sentences on where wool works, what would work below, and what is not judged."""
    said = []
    for reach in reaches:
        words = [
            f"{step:.0f} dB from {_hz(start)}" if np.isfinite(start) else f"never {step:.0f} dB"
            for step, start in zip(STEPS_DB, reach.from_hz, strict=True)
        ]
        quarter = (
            f"; its face is a quarter wavelength off the wall at {_hz(reach.quarter_wave_hz)}, where air moves most"
            if np.isfinite(reach.quarter_wave_hz)
            else ""
        )
        said.append(
            f"{reach.name} at {reach.angle_deg:.0f} degrees takes off {', '.join(words)} where it is large enough"
            f"{quarter}.{'' if reach.has_gap else OCTAVE_LOWER}"
        )
    limits = [reach.from_hz[1] for reach in reaches if np.isfinite(reach.from_hz[1])]
    if limits:
        below = min(limits)
        fitting = pressure_absorbers(below, air)
        if fitting:
            listed = "; ".join(f"{name} (tuned to about {_hz(tuned)})" for name, tuned in fitting)
            said.append(
                f"Below about {_hz(below)} wool of this depth does little, and pressure absorbers would do more, at "
                f"the wall or in corners, where pressure is highest: {listed}. They reflect what lies far above "
                "their tuning, so keep them off the reflection points."
            )
    said.append(
        f"Below the transition frequency of {transition_hz:.0f} Hz single room resonances rule; where bass absorbers "
        "belong there is not judged here."
    )
    return tuple(said)


def _hz(frequency_hz: float) -> str:
    return hertz(ROUND_HZ * round(frequency_hz / ROUND_HZ))


# What panels do to the decay of the whole room: statistical, and rough in small rooms.
#
# Times are Eyring's, of all surfaces and air (`sim.responses.statistical_decay`).  A panel takes the place of the wall
# behind it with the coefficient of its layers at random incidence.
#
# Neglected: that the absorption of a small room is not spread evenly, the sides of panels, what they shade, and people.

TOLERANCE_S = 0.05
"""Allowed off the nominal time in the middle octaves (ITU-R BS.1116-3 and EBU Tech 3276, value from memory)."""
MIDDLE_HZ = (500.0, 2000.0)
LOW_HZ = (125.0, 250.0)
TOP_HZ = (2000.0, 8000.0)
TOP_ONLY = 2.0
"""A plan that shortens the top by this many times the share it shortens the low octaves is said to (our choice)."""

ROUGH = (
    "Decay by Eyring's formula is statistical: it takes the absorption as spread evenly and the room as large against "
    "the wavelength, and in a small room it is rough, below the transition frequency meaningless."
)


def decay_of(bare: BuiltScene, treated: BuiltScene) -> Decay:
    """Decay of a room before and after panels are added; octaves 125 Hz to 8 kHz."""
    before, after = eyring_s(bare), eyring_s(treated)
    octaves = octave_bands(63, 8000)
    keep = octaves.nominal_hz >= 125.0
    aim = nominal_reverberation_s(bare.volume_m3)
    mid = octaves.nominal_hz[keep]
    return Decay(
        frozen(mid),
        frozen(before[keep]),
        frozen(after[keep]),
        aim,
        (ROUGH, *_warnings(mid, before[keep], after[keep], aim)),
    )


def _warnings(mid_hz: FloatArray, before: FloatArray, after: FloatArray, aim_s: float) -> list[str]:
    said = []
    middle = _mean(mid_hz, after, MIDDLE_HZ)
    if middle < aim_s - TOLERANCE_S:
        said.append(
            f"The room would be dry: {middle:.2f} s in the middle octaves, more than {TOLERANCE_S:.2f} s below the "
            f"{aim_s:.2f} s that suit its volume. Take fewer or smaller panels, or scatter instead."
        )
    elif middle > aim_s + TOLERANCE_S:
        said.append(
            f"The room stays lively: {middle:.2f} s in the middle octaves where {aim_s:.2f} s suit its volume; this "
            "plan is for early reflections only."
        )
    top = 1.0 - _mean(mid_hz, after, TOP_HZ) / _mean(mid_hz, before, TOP_HZ)
    low = 1.0 - _mean(mid_hz, after, LOW_HZ) / _mean(mid_hz, before, LOW_HZ)
    if top > 0.1 and top > TOP_ONLY * low:
        said.append(
            f"It takes {100 * top:.0f} % off the decay of the top octaves and {100 * low:.0f} % off that of 125 and "
            "250 Hz: more of it would make the room dull and leave the bass as it is. Treat the low end separately."
        )
    return said


def _mean(mid_hz: FloatArray, times: FloatArray, within: tuple[float, float]) -> float:
    return float(times[(mid_hz >= within[0]) & (mid_hz <= within[1])].mean())
