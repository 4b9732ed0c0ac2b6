"""What the measured delays say of the numbers that a tape and a thermometer gave: given, fitted, and how sure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Final

import numpy as np
from scipy.stats import chi2

from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.schema import Blueprint
from sim.layouts.fields import Path as FieldPath
from sim.responses.records import Results
from sim.studies.match.fitted_records import OUTWARD, Correction, Quantity, Together
from sim.studies.match.fitting import Fit, simplest
from sim.studies.match.lengths import SEAT, TEMPERATURE
from sim.studies.match.misplaced import AT_ZERO_M, LEAST_PEAKS, SEAT_M, Movable, Surface, price_of
from sim.studies.match.naming import Heard, loud_peaks
from sim.studies.match.records import SeatShift

AXES: Final = ("from_front", "from_left", "up")
WORDS: Final = ("from front", "from left", "up")
TIED: Final = 0.8
"""Two quantities whose errors go together so far are known rather together than each."""
TOGETHER: Final = 0.6
"""Their sum or difference is worth telling when its error is at most this part of that of either."""


def fewest_off(
    moves: Movable, heard: Sequence[Heard], tried: Sequence[tuple[Fit, IntArray, FloatArray]], error_ms: float
) -> tuple[Fit, IntArray, FloatArray]:
    """Of several fits, with the rows and delays each rests on, the one that explains most by fewest quantities.

    Each that moves has the price of chance (chi-squared at 1 %): with as many quantities as peaks, everything fits.
    """
    loud = [loud_peaks(one) for one in heard]

    def price(one: tuple[Fit, IntArray, FloatArray]) -> float:
        fit, rows, measured = one
        if len(rows) < LEAST_PEAKS:
            return price_of(loud, moves, 0.0 * fit.off, error_ms)
        some = moves.lengths.chosen(rows)
        free = (some.delays_ms, some.slopes, measured, moves.tolerances)
        few = simplest(*free, _groups(moves, fit), fit)
        return price_of(loud, moves, few.off, error_ms) + float(chi2.ppf(0.99, 1)) * int(few.told.sum())

    return min(tried, key=price)


def correction_of(
    results: Results, moves: Movable, numbers: Sequence[int], place: int, fitted: tuple[Fit, IntArray, FloatArray]
) -> Correction:
    """Put a fit into the numbers of the scene.

    Parameters
    ----------
    results, moves
        The traced scene, and what may be off in it.
    numbers, place
        Numbers of the measured loudspeakers and of the listener.
    fitted
        The fit, the rows (n,) of the paths it rests on, and their measured delays (n,) in ms.
    """
    fit, rows, measured = fitted
    enough = len(rows) >= LEAST_PEAKS
    listed, some = _listed(results, moves, numbers, place), moves.lengths.chosen(rows)
    few = 0.0 * fit.off
    if enough:
        free = (some.delays_ms, some.slopes, measured, moves.tolerances)
        few = simplest(*free, _groups(moves, fit), fit).off
    quantities = tuple(
        Quantity(
            name,
            kind,
            path,
            given,
            float(sign * few[turn]) + 0.0,
            float(sign * fit.off[turn]) if enough else 0.0,
            float(fit.error[turn]) if enough else float("inf"),
            float(moves.tolerances[turn]),
            bool(fit.told[turn]) and enough,
        )
        for turn, (name, kind, path, given, sign) in enumerate(listed)
    )
    written = np.array([one.off_enough for one in quantities]) * few

    def misfit_ms(off: FloatArray) -> float:
        return float(np.sqrt(np.mean((measured - some.delays_ms(off)) ** 2))) if len(rows) else float("nan")

    before = misfit_ms(0.0 * fit.off)
    return Correction(
        quantities,
        _together(quantities, fit, np.array([sign for *_, sign in listed])) if enough else (),
        len(rows) if enough else 0,
        before,
        misfit_ms(fit.off) if enough else before,
        misfit_ms(written) if enough else before,
        fit.delay_error_ms,
        float(max(SEAT_M, moves.tolerances[-1])),
        float(moves.tolerances[TEMPERATURE + 1]),
    )


def _groups(moves: Movable, fit: Fit) -> list[list[int]]:
    """What is taken together: the seat, then every loudspeaker, surface and the air of which the delays tell enough."""
    lengths = moves.lengths
    groups = [[TEMPERATURE]]
    groups += [
        list(range(*lengths.of_loudspeaker(turn).indices(lengths.quantities))) for turn in range(lengths.loudspeakers)
    ]
    groups += [[lengths.of_surface(turn)] for turn in range(lengths.surfaces)]
    return [list(SEAT), *(group for group in groups if any(fit.told[group]))]


def seat_of(found: Correction) -> SeatShift:
    """Where the microphone was, of all that may be off."""
    seat = [one for one in found.quantities if one.kind == "seat"]
    return SeatShift(
        frozen(np.array([one.off for one in seat])),
        frozen(np.array([one.error if one.told else np.inf for one in seat])),
        found.peaks,
        found.before_ms,
        found.after_ms,
    )


_Listed = tuple[str, str, FieldPath, float, float]
"""Name, kind, path, value as given, and whether the scene counts it along the fit's direction or against it."""


def _listed(results: Results, moves: Movable, numbers: Sequence[int], place: int) -> list[_Listed]:
    """All quantities in the order of the fit."""
    built, blueprint = results.built, results.scene.blueprint
    start: FieldPath = ("listener", "ear") if place == 0 else ("listener", "second_seat", "ear")
    who, ear = built.listener_names[place], built.ears[place]
    listed: list[_Listed] = [
        (f"{who}, {WORDS[axis]}", "seat", (*start, AXES[axis]), float(ear[axis]), 1.0) for axis in SEAT
    ]
    listed.append(("temperature", "temperature", ("air", "temperature_c"), blueprint.air.temperature_c, 1.0))
    for s in numbers:
        told = blueprint.loudspeakers[s].acoustic_axis
        for axis in range(3):
            path: FieldPath = ("loudspeakers", s, "acoustic_axis", AXES[axis])
            known = getattr(told, AXES[axis]) is not None  # a height may follow from the stand
            given = float(built.loudspeakers[s].axis_point[axis])
            monitor = built.loudspeakers[s].name
            name = f"{monitor}{'' if 'monitor' in monitor else ' monitor'}, {WORDS[axis]}"
            listed.append((name, "loudspeaker", path if known else (), given, 1.0))
    return listed + [_of_surface(blueprint, one) for one in moves.surfaces]


def _of_surface(blueprint: Blueprint, one: Surface) -> _Listed:
    """A surface as the scene tells it: a size of the room, the top of a piece, or only its place along its normal."""
    axis = int(np.argmax(np.abs(one.normal)))
    along = float(one.normal[axis])
    flat = abs(abs(along) - 1.0) < AT_ZERO_M
    at = one.offset_m * along
    if flat and one.owner == "room":
        box, room = blueprint.room.box, blueprint.room
        key = ("depth", "width", "height")[axis]
        if box is not None and along < 0.0 and abs(getattr(box, key) - at) < AT_ZERO_M:
            return f"{one.name} (room {key})", "surface", ("room", "box", key), at, along
        if axis == 2 and along < 0.0 and room.height is not None and abs(room.height - at) < AT_ZERO_M:
            return f"{one.name} (room height)", "surface", ("room", "height"), at, along
        return f"{one.name}, {WORDS[axis]}", "surface", (), at, along
    if flat:
        for number, piece in enumerate(blueprint.furniture if axis == 2 and along > 0.0 else ()):
            top = getattr(piece, "top", None)
            if piece.name == one.owner and isinstance(top, float) and abs(top - at) < AT_ZERO_M:
                return f"{one.name} (height)", "surface", ("furniture", number, "top"), at, along
        return f"{one.name}, {WORDS[axis]}", "surface", (), at, along
    return f"{one.name}{OUTWARD}", "surface", (), 0.0, -1.0


def _together(quantities: Sequence[Quantity], fit: Fit, signs: FloatArray) -> tuple[Together, ...]:
    """Pairs of lengths whose errors go together, one of them at least not told: what is known is sum or difference."""
    spread = np.sqrt(np.diag(fit.covariance))
    reach = fit.error / spread
    covariance = fit.covariance * np.outer(signs, signs)
    found = []
    for a, b in combinations(range(len(quantities)), 2):
        if TEMPERATURE in (a, b) or (quantities[a].told and quantities[b].told):
            continue
        tie = float(covariance[a, b] / (spread[a] * spread[b]))
        sign = -1.0 if tie > 0.0 else 1.0
        error = float(np.sqrt(covariance[a, a] + covariance[b, b] + 2.0 * sign * covariance[a, b]))
        if abs(tie) >= TIED and error <= TOGETHER * min(spread[a], spread[b]):
            off = quantities[a].likeliest_off + sign * quantities[b].likeliest_off
            found.append(Together(quantities[a].name, quantities[b].name, sign, off, error * float(reach[a])))
    return tuple(sorted(found, key=lambda one: one.error))
