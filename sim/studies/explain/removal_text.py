"""What would remove an arrival, in words: panels, changes of furniture, edges moved out of the way."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from sim.acoustics.layered_reflection import out_of_range
from sim.blueprint.build_ups import build_up_in_words
from sim.blueprint.units import small_words
from sim.responses.records import Results
from sim.showing.numbers import db_change, db_words, format_length, hertz
from sim.showing.tape import tape_coordinates
from sim.showing.words import CAUTIONS
from sim.studies.explain.edge_trial import EdgeTrial
from sim.studies.explain.mirror_trial import Remedy
from sim.studies.explain.panel_trial import LEVEL, PanelTrial
from sim.studies.explain.records import Explanation, Furnishing

ROUNDED_M: Final = 0.01
LAST_HZ: Final = 8000.0


def removal_lines(results: Results, explained: Explanation) -> Iterator[str]:
    """Lines on everything that was tried against one arrival; nothing for direct sound that nothing hides."""
    unit, limit = results.scene.blueprint.units, results.scene.blueprint.target.level_db
    if not explained.arrival.order:
        if explained.hidden_by:
            yield f"move the {' and the '.join(explained.hidden_by)} or the monitor until nothing stands between"
        return
    if explained.arrival.worst_db <= limit:
        yield "it is already below the target; what follows is what would take it further down"
    for trial in explained.panels:
        yield from _covering(results, explained, trial, unit)
    for furnishing in explained.furnishings:
        yield from _furnishing(explained, furnishing, unit)
    if explained.edge is not None:
        yield from _edge(explained, explained.edge, unit)
    if any(trial.overhead for trial in explained.panels):
        yield from (f"Mind: {caution}" for caution in CAUTIONS if caution.startswith("Overhead"))


def level_db(level: float) -> str:
    """A level with its unit, "under -60 dB" when there is next to nothing."""
    return f"{db_words(level)}" if level > -60.0 else "under -60 dB"


def _covering(results: Results, explained: Explanation, trial: PanelTrial, unit: str) -> Iterator[str]:
    limit = results.scene.blueprint.target.level_db
    if trial.kind == "rug":
        yield f"{trial.surface}: a rug over all of it"
    elif trial.kind == "thicker":
        yield f"{trial.surface}: panels hang there already; they would have to be of something else"
    else:
        yield from _place(results, trial, unit)
    yield from (f"  {line}" for line in _table(results, explained, trial, unit))
    best = trial.trials[trial.suggested]
    taken = float(explained.arrival.level_db[explained.worst] - best.left_db[explained.worst])
    octave = hertz(float(explained.bands.nominal_hz[explained.worst]))
    verdict = "meets the target" if trial.enough else f"takes most, but does not meet the target of {limit:g} dB"
    yield f"  suggested: {best.material}, which {verdict}: {db_change(taken)} less at {octave}"
    thicker = [one for one in trial.trials if one.depth_m > best.depth_m]
    if trial.enough and thicker:
        yield (
            f"  it is the thinnest of those that do; {thicker[-1].material} takes more off, most of all at the low "
            "end: take it where depth and money allow"
        )
    if trial.kind != "rug":
        guesses = out_of_range(build_up_in_words(best.material), explained.bands.exact_hz[explained.judged])
        yield from (f"  {sentence}" for sentence in guesses)


def _place(results: Results, trial: PanelTrial, unit: str) -> Iterator[str]:
    tape = tape_coordinates(results.built.room, trial.facet, trial.centre)
    size = " x ".join(format_length(round(float(side) / ROUNDED_M) * ROUNDED_M, unit) for side in trial.size_m)
    first, second = format_length(tape.first_m, unit), format_length(tape.second_m, unit)
    ways = "left-right x depth" if abs(results.built.room.facets[trial.facet].normal[2]) > LEVEL else "level x up"
    yield f"{trial.surface}: a panel with its centre {first} {tape.first_from}, {second} {tape.second_from}"
    yield f"  {size} ({ways}): the first Fresnel zone of every driver at 1 kHz, for the whole head box"
    if trial.off_surface_m > ROUNDED_M:
        yield f"  the surface ends {small_words(trial.off_surface_m, unit)} too soon for all of it"
    for thing in trial.in_the_way:
        yield f"  in its place: {thing}"


def _table(results: Results, explained: Explanation, trial: PanelTrial, unit: str) -> Iterator[str]:
    """What is left with each covering, in every octave that rays can be trusted in."""
    nominal = explained.bands.nominal_hz
    shown = np.flatnonzero((nominal >= results.responses.transition_hz) & (nominal <= LAST_HZ))
    rows = [("remaining, dB re direct", [hertz(float(nominal[b])) for b in shown])]
    tried = [("as it is", explained.arrival.level_db)]
    for one in trial.trials:
        depth = f" ({small_words(one.depth_m, unit)} deep)" if one.depth_m else ""
        tried.append((f"{one.material}{depth}", one.left_db))
    for name, levels in tried:
        rows.append((name, [f"{levels[b]:.1f}" if levels[b] > -60.0 else "-" for b in shown]))
    names = max(len(name) for name, _ in rows)
    widths = [max(len(cells[column]) for _, cells in rows) for column in range(len(shown))]
    for name, cells in rows:
        yield f"{name:<{names}}  " + "  ".join(f"{cell:>{w}}" for cell, w in zip(cells, widths, strict=True))


def _furnishing(explained: Explanation, furnishing: Furnishing, unit: str) -> Iterator[str]:
    yield f"{furnishing.surface}: by its reflection point alone; its edges still diffract"
    carried = " and ".join(furnishing.carried)
    some = False
    for place, way in enumerate(furnishing.ways):
        if way.kind != "cut" and furnishing.carried:
            continue
        words = _remedy(way, unit)
        if furnishing.refused[place]:
            words += f"; but that cannot be: {furnishing.refused[place]}"
        elif way.works:
            some = True
            left = furnishing.edges_db[place, explained.worst]
            if np.isfinite(left):
                now = level_db(float(furnishing.edges_now_db[explained.worst]))
                octave = hertz(float(explained.bands.nominal_hz[explained.worst]))
                words += f"; all its edges together then send {level_db(float(left))} at {octave} (now {now})"
        yield f"  {words}"
    if furnishing.carried:
        stand = "stand" if len(furnishing.carried) > 1 else "stands"
        yield f"  moving or tilting it was not tried: {carried} {stand} on it"
    if not some:
        yield "  so nothing sensible here takes the reflection point off it; monitor or seat would have to change"


def _remedy(way: Remedy, unit: str) -> str:
    if way.kind == "tilt":
        if not way.works:
            return f"no tilt up to {way.limit:g} degrees either way takes the reflection point off it"
        head = f", {way.amount_head:.1f} for the whole head box" if np.isfinite(way.amount_head) else ""
        return (
            f"tilt it {way.amount:.1f} degrees about its listener-side edge, {way.direction}{head}: "
            "the reflection point leaves it"
        )
    amount = small_words(way.amount, unit)
    head = f", {small_words(way.amount_head, unit)} for the whole head box" if np.isfinite(way.amount_head) else ""
    if way.kind == "cut":
        if way.works:
            return f"cut {amount} off its {way.direction}{head}: the reflection point leaves it"
        return f"its {way.direction} would have to lose {amount}, more than half of what there is: not practical"
    if way.works:
        return f"move it {amount} {way.direction}{head}: the reflection point leaves it"
    return "no move in any direction that has room, up to half a metre, takes the reflection point off it"


def _edge(explained: Explanation, edge: EdgeTrial, unit: str) -> Iterator[str]:
    if edge.why:
        yield f"nothing was tried: {edge.why}"
        return
    shown = np.flatnonzero(explained.judged) if explained.judged.any() else np.array([explained.worst])
    if edge.amount_m == 0.0:
        yield "no move or cut of the piece that was tried, 30 cm at most, takes 1 dB off"
        return
    verb = f"move it {small_words(edge.amount_m, unit)} {edge.direction}"
    if edge.kind == "cut":
        verb = f"cut {small_words(edge.amount_m, unit)} off its {edge.direction}"
    if edge.left_db.max() <= -60.0:
        yield f"{verb}: this edge is then hidden"
    else:
        left = ", ".join(
            f"{level_db(float(level))} at {hertz(float(explained.bands.nominal_hz[b]))}"
            for level, b in zip(edge.left_db, shown, strict=True)
        )
        yield f"{verb}: this edge alone then sends {left}"
    yield "  " + (
        "that meets the target" if edge.enough else "that is the most that was found; it does not meet the target"
    )
    yield "  other edges and reflections change with it: trace the changed scene"
