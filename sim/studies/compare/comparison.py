"""Two or more layouts side by side: what improved, what got worse, and what did not change.

The first layout is the one the others are compared with.  Loudspeakers are matched by name, the rest in order.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import numpy as np

from sim.acoustics.bands import Bands
from sim.acoustics.levels import SILENCE_DB, level_db
from sim.answers import Answer, Labelled
from sim.arrays import FloatArray, frozen
from sim.blueprint.reader import AnyScene
from sim.blueprint.units import small_words
from sim.errors import SceneError
from sim.progress import Report, say_nothing
from sim.propagation.paths import FRAGILE_M
from sim.responses.arrivals import in_window
from sim.responses.measure import SAME_DB, Measure, changes_between, measure_of
from sim.responses.records import Results
from sim.showing.archive.kept_traces import trace_kept
from sim.showing.numbers import db_words
from sim.showing.words import letter_of
from sim.studies.compare.surfaces import (
    EarChange,
    SurfaceChange,
    deepest_notches,
    ear_changes,
    heard,
    silent,
    strongest_edge_paths,
    surface_changes,
)

__all__ = ["NOTICEABLE_DB", "Comparison", "SurfaceChange", "compare", "early_level_db", "silent"]

NOTICEABLE_DB = SAME_DB
"""Differences below this are called no change: what the physics does not tell apart."""


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Answer):
    """Layouts compared, the first being the reference.

    Attributes
    ----------
    titles
        For each layout what its scene is called.
    loudspeakers
        Names, those of the first layout.
    bands
        Octaves of all levels.
    early_db
        (layout, loudspeaker, band) energy of everything that arrives inside the target's window, dB re direct sound;
        `SILENCE_DB` where nothing arrives.
    strongest_db
        (layout, loudspeaker) the worst single arrival in the target's band, dB re direct sound; `SILENCE_DB` for none.
    surfaces
        What each surface sends in each layout.
    improved, worse, unchanged
        (layout - 1) sentences on each layout after the first: the measure and its components, then single surfaces.
    measures
        (layout,) what each layout is judged by.
    cautions
        What makes the comparison less than fair, in sentences.
    ear
        What single things add to the response at the ear.
    notches
        (loudspeaker, layout) the deepest notches, in words.
    edge_paths
        (loudspeaker, layout) the strongest sound that came round an edge, in words.
    layouts
        The traced layouts themselves.
    """

    question: ClassVar[str] = "compare"

    titles: tuple[str, ...]
    loudspeakers: tuple[str, ...]
    bands: Bands
    early_db: FloatArray
    strongest_db: FloatArray
    surfaces: tuple[SurfaceChange, ...]
    improved: tuple[tuple[str, ...], ...]
    worse: tuple[tuple[str, ...], ...]
    unchanged: tuple[tuple[str, ...], ...]
    cautions: tuple[str, ...] = ()
    ear: tuple[EarChange, ...] = ()
    notches: tuple[tuple[str, ...], ...] = ()
    edge_paths: tuple[tuple[str, ...], ...] = ()
    layouts: tuple[Results, ...] = ()
    measures: tuple[Measure, ...] = ()

    def headline(self) -> str:
        """What the layout after the first changes most, or that nothing does."""
        reported = []
        for number, (better, worse) in enumerate(zip(self.improved, self.worse, strict=True), start=1):
            name = f"{letter_of(number)} ({self.titles[number]})"
            verdict = changes_between(self.measures[0], self.measures[number])[0] if self.measures else None
            words = f"{verdict.verdict}, {verdict.words}; " if verdict else ""
            reported.append(f"{name}: {words}{len(better)} better, {len(worse)} worse")
        return f"against A ({self.titles[0]}) {' | '.join(reported)}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each layout and loudspeaker: early level octave by octave and strongest arrival, in dB."""
        return [
            {"layout": title, "loudspeaker": name, "strongest_db": float(self.strongest_db[i, s])}
            | {
                f"early_{octave:g}_hz_db": float(level)
                for octave, level in zip(self.bands.nominal_hz, self.early_db[i, s], strict=True)
            }
            for i, title in enumerate(self.titles)
            for s, name in enumerate(self.loudspeakers)
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "layout": (list(self.titles), ""),
            "loudspeaker": (list(self.loudspeakers), ""),
            "octave": (self.bands.nominal_hz, "Hz"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        return {
            "early_db": (("layout", "loudspeaker", "octave"), self.early_db, "dB"),
            "strongest_db": (("layout", "loudspeaker"), self.strongest_db, "dB"),
        }


def compare(layouts: Sequence[AnyScene | Results], report: Report = say_nothing) -> Comparison:
    """Compare layouts of one room, or of several, at the first listener; what is not traced yet is traced.

    Raises
    ------
    SceneError
        If there are fewer than two layouts, or one has more or fewer loudspeakers than the first.
    """
    if len(layouts) < 2:
        raise SceneError("compare", f"it takes 2 or more scenes and was given {len(layouts)}", "give them in one list")
    results = []
    for number, one in enumerate(layouts):
        if not isinstance(one, Results):
            report(f"{letter_of(number)}: {one if isinstance(one, str | Path) else type(one).__name__}")
            one = trace_kept(one, report)
        results.append(one)
    first = results[0]
    names = tuple(one.name for one in first.built.loudspeakers)
    matched = [_matched(result, names) for result in results]
    early = np.array(
        [[early_level_db(result, one) for one in row] for result, row in zip(results, matched, strict=True)]
    )
    strongest = np.array(
        [[_strongest(result, one) for one in row] for result, row in zip(results, matched, strict=True)]
    )
    changes = tuple(
        change for i, name in enumerate(names) for change in surface_changes(results, [row[i] for row in matched], name)
    )
    judged_hz = first.responses.transition_hz
    measures = tuple(measure_of(result) for result in results)
    units = [result.scene.blueprint.units for result in results]
    reported = [_reported(changes, measures, layout, judged_hz, units) for layout in range(1, len(results))]
    return Comparison(
        titles=tuple(result.scene.blueprint.title for result in results),
        loudspeakers=names,
        bands=first.responses.bands,
        early_db=frozen(early),
        strongest_db=frozen(strongest),
        surfaces=changes,
        improved=tuple(one[0] for one in reported),
        worse=tuple(one[1] for one in reported),
        unchanged=tuple(one[2] for one in reported),
        cautions=_cautions(results),
        ear=tuple(
            change for i, name in enumerate(names) for change in ear_changes(results, [row[i] for row in matched], name)
        ),
        notches=tuple(deepest_notches(results, [row[i] for row in matched]) for i in range(len(names))),
        edge_paths=tuple(strongest_edge_paths(results, [row[i] for row in matched]) for i in range(len(names))),
        layouts=tuple(results),
        measures=measures,
    )


def _matched(result: Results, names: Sequence[str]) -> list[str]:
    """Names in `result` of the loudspeakers called `names` in the first layout: the same name, else in order."""
    own = [one.name for one in result.built.loudspeakers]
    if len(own) != len(names):
        raise SceneError(
            f"{result.scene.path}, monitors",
            f"it has {len(own)} and the first layout {len(names)}",
            "compare layouts with the same number of monitors",
        )
    left_over = iter([name for name in own if name not in names])
    return [name if name in own else next(left_over) for name in names]


def _cautions(results: Sequence[Results]) -> tuple[str, ...]:
    targets = [result.scene.blueprint.target for result in results]
    if len({(t.level_db, t.window_ms, t.band_hz, t.weighting, t.weights) for t in targets}) == 1:
        return ()
    return ("the targets of the layouts differ; each level below is taken in its own layout's window and band",)


def early_level_db(result: Results, loudspeaker: str) -> FloatArray:
    """Energy (band,) of all arrivals inside the target window, in dB re the direct sound; energies add."""
    target = result.scene.blueprint.target
    rows = [10.0 ** (a.level_db / 10.0) for a in heard(result, loudspeaker) if in_window(a, target)]
    total = np.sum(rows, axis=0) if rows else np.zeros(len(result.responses.bands))
    return level_db(total)


def _strongest(result: Results, loudspeaker: str) -> float:
    target = result.scene.blueprint.target
    return max((a.worst_db for a in heard(result, loudspeaker) if in_window(a, target)), default=SILENCE_DB)


def _reported(
    changes: Sequence[SurfaceChange], measures: Sequence[Measure], layout: int, judged_hz: float, units: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    better: list[str] = []
    worse: list[str] = []
    same: list[str] = []
    for one in changes_between(measures[0], measures[layout]):
        {"better": better, "worse": worse, "the same": same}[one.verdict].append(one.words)
    for change in changes:
        before, after = float(change.worst_db[0]), float(change.worst_db[layout])
        who = f"{change.loudspeaker} via the {change.surface}"
        if np.isnan(before) and np.isnan(after):
            continue
        if np.isnan(after):
            better.append(f"{who}: {db_words(before)} at {change.delay_ms[0]:.2f} ms is gone: {change.why_not[layout]}")
        elif np.isnan(before):
            when = f"{db_words(after)} at {change.delay_ms[layout]:.2f} ms"
            worse.append(f"{who}: new, {when}{_fragile(change, layout)}; in A {change.why_not[0]}")
        else:
            words = f"{who}: {db_words(before)} at {change.delay_ms[0]:.2f} ms, then {db_words(after)} at"
            words += f" {change.delay_ms[layout]:.2f} ms; {_where(change, layout, units)}"
            notches = change.first_notch_hz[0], change.first_notch_hz[layout]
            if min(notches) > judged_hz:
                words += f", first notch {_notch(notches[0])}, then {_notch(notches[1])}"
            _sort(after - before, words, better, worse, same)
    return tuple(better), tuple(worse), tuple(same)


def _where(change: SurfaceChange, layout: int, units: Sequence[str]) -> str:
    """That a surface still reflects, or by how much its reflection point lies outside it (its rim sends the rest)."""
    before, after = (small_words(max(-float(change.margin_m[n]), 0.0), units[n]) for n in (0, layout))
    lies = [float(change.margin_m[n]) < 0.0 for n in (0, layout)]
    if not any(lies):
        return f"still reflects{_fragile(change, layout)}"
    if all(lies):
        return f"the reflection point lies {before}, then {after} outside it"
    return (
        f"the reflection point lay {before} outside it"
        if lies[0]
        else f"the reflection point then lies {after} outside it"
    )


def _fragile(change: SurfaceChange, layout: int) -> str:
    """That a small move makes a reflection go, as the ranking of a trace has it."""
    margin = float(change.margin_m[layout])
    return " (fragile)" if 0.0 <= margin < FRAGILE_M else ""


def _notch(frequency_hz: float) -> str:
    return f"{frequency_hz:.0f} Hz" if np.isfinite(frequency_hz) else "none"


def _sort(change_db: float, words: str, better: list[str], worse: list[str], same: list[str]) -> None:
    """Put words where they belong; a change in favour is a level that fell."""
    if change_db <= -NOTICEABLE_DB:
        better.append(words)
    elif change_db >= NOTICEABLE_DB:
        worse.append(words)
    else:
        same.append(words)
