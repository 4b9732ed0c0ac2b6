"""The scene's numbers before and after, in words: given, fitted, how sure, and what the delays cannot tell."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from sim.blueprint.units import small_words
from sim.showing.numbers import format_length, halves, hertz, joined
from sim.studies.match.fitted_records import OUTWARD, Correction, Quantity, SurfaceLevel

MOST_TOGETHER: Final = 3
WIDEST_ABSORPTION: Final = 0.4
"""An interval of an absorption coefficient that is wider than this says nothing (our choice)."""
DATUM: Final = "Distances count from the front wall, the left wall and the floor, which stay where they are."


def correction_lines(found: Correction, unit: str) -> Iterator[str]:
    """The table before and after, what is not told, and what is known only together."""
    if not found.peaks:
        yield "The numbers of the scene: too few peaks have a name to tell whether any of them is off."
        return
    yield (
        f"The numbers of the scene, by the delays of {found.peaks} peaks: {found.before_ms:.2f} ms off as given"
        f" (rms), {found.after_ms:.2f} ms as fitted"
    )
    moved = found.moved
    if moved:
        wide = max(len(one.name) for one in moved)
        yield f"  {'':{wide}}  {'given':>12}  {'fitted':>12}  {'95 %':>9}"
    for one in moved:
        yield (
            f"  {one.name:{wide}}  {value_words(one, one.given, unit):>12}"
            f"  {value_words(one, one.fitted, unit):>12}  {error_words(one, unit):>9}".rstrip()
        )
    still = [f"{one.name} ({error_words(one, unit)})" for one in found.quantities if one.told and one not in moved]
    if still:
        yield f"  As given, as far as these delays tell: {'; '.join(still)}."
    silent = [one.name for one in found.quantities if not one.told and one not in moved]
    if silent:
        yield f"  Not told by these delays, and left as given: {joined(silent)}."
    for pair in found.together[:MOST_TOGETHER]:
        which = "sum" if pair.sign > 0.0 else "difference"
        yield (
            f"  Of {pair.first} and {pair.second} only the {which} is told: {signed_length(pair.off, unit)}"
            f" (± {small_words(pair.error, unit)})."
        )
    yield (
        f"  Within: microphone ± {small_words(found.seat_tolerance_m, unit)}, everything else"
        f" ± {small_words(found.tape_tolerance_m, unit)} (placement_error), air ± {found.temperature_tolerance_k:g} °C,"
        " each a standard deviation. The intervals let every number be off within that; what moves is as few numbers"
        " as explain the delays."
    )
    yield f"  {DATUM}"


def level_lines(found: Sequence[SurfaceLevel]) -> Iterator[str]:
    """What surfaces and panels reflect, where the levels tell it, and which of them they do not tell."""
    told = [one for one in found if one.told.any()]
    if told:
        yield "What surfaces reflect against the scene, by the levels of peaks that stand alone (± 95 %)"
    for one in told:
        kind = " (panel)" if one.panel else ""
        off = one.told & (np.abs(one.more_db) > one.error_db)
        as_given = np.flatnonzero(one.told & ~off)
        parts = [_octave(one, int(band)) for band in np.flatnonzero(off)]
        if len(as_given):
            widest = float(one.error_db[as_given].max())
            at = joined([hertz(float(one.frequency_hz[band])) for band in as_given])
            parts.append(f"as given at {at}, to ± {halves(widest)} dB")
        yield f"  {one.surface}{kind}: {'; '.join(parts)}"
    silent = [one.surface for one in found if not one.told.any()]
    if silent:
        yield (
            f"The levels cannot tell what is taken by {joined(silent)}: too few peaks of theirs stand alone, their"
            " neighbours add or cancel. Nothing is fitted there."
        )
    if not found:
        yield "The levels cannot tell what any surface takes: no peak with a name of its own stands alone."


def _octave(one: SurfaceLevel, band: int) -> str:
    more, error = float(one.more_db[band]), float(one.error_db[band])
    words = f"{hertz(float(one.frequency_hz[band]))} {more:+.1f} dB (± {error:.1f})"
    low, high = float(one.absorption_low[band]), float(one.absorption_high[band])
    given = float(one.absorption_given[band])
    if math.isfinite(low) and high <= 0.0:
        words += f", more than anything without power of its own could; given absorption {given:.2f}"
    elif math.isfinite(low) and high - low <= WIDEST_ABSORPTION:
        words += f", absorption {low:.2f} to {high:.2f}, given {given:.2f}"
    return words


def value_words(one: Quantity, value: float, unit: str) -> str:
    """A value of a quantity in the unit of the scene; of a slanting surface, how far it is moved outward."""
    if one.name.endswith(OUTWARD):
        return signed_length(value, unit) if value else "as drawn"
    return f"{value:.1f} °C" if one.kind == "temperature" else format_length(value, unit)


def error_words(one: Quantity, unit: str) -> str:
    """Half of the interval about the fitted value of a quantity."""
    if not math.isfinite(one.sure_to):
        return ""
    return f"± {one.sure_to:.1f} °C" if one.kind == "temperature" else f"± {small_words(one.sure_to, unit)}"


def signed_length(metres: float, unit: str) -> str:
    """A small length with its sign."""
    words = small_words(abs(metres), unit)
    return words if words.startswith(("0", "less")) else f"{'-' if metres < 0.0 else '+'}{words}"
