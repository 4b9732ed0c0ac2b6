"""The curves of a report: energy over time with every peak named, and the response at the ear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.treatment import Target
from sim.responses.ear_records import Peak
from sim.responses.records import Results
from sim.showing.chart import Background, Chart, Flag, Series, tenths
from sim.showing.numbers import short_hertz
from sim.showing.page import Look, escaped, folded, loudspeaker_looks, number, row, table
from sim.showing.words import BEFORE_MS, CEILING_DB, FLOOR_DB, last_shown_ms, peak_mark

RESPONSE_DB: Final = (-18.0, 12.0)
LOWEST_HZ, HIGHEST_HZ = 100.0, 16000.0
FLAGS: Final = 14
LONGEST_FLAG: Final = 30
AS_CALCULATED: Final = "#b9b4a8"
LEFT_OUT: Final = "#1c1b19"


def energy_figure(results: Results, speaker: int, layout: Look | None, number_of: int) -> tuple[str, dict[str, Any]]:
    """Energy-time curve of one loudspeaker at the ear as figure and data; `layout` names one of several."""
    curve, target = results.responses.energy_time, results.scene.blueprint.target
    look = loudspeaker_looks([one.name for one in results.built.loudspeakers])[speaker]
    end = last_shown_ms(results)
    shown = (curve.time_ms >= BEFORE_MS) & (curve.time_ms <= end)
    peaks = [peak for peak in curve.peaks[speaker][0] if BEFORE_MS <= peak.time_ms <= end]
    flight = float(curve.flight_ms[speaker, 0])
    whose = f"{look.name} monitor" + (f", {layout.letter}: {layout.name}" if layout else "")
    name = f"energy-{layout.letter if layout else 'A'}-{speaker}"
    start, stop = target.window_ms
    chart = Chart(
        name,
        f"Energy-time curve of the {whose}",
        curve.time_ms[shown],
        (Series(whose, curve.broadband_db[speaker, 0][shown], look.colour, "", 1.2),),
        (BEFORE_MS, end),
        (FLOOR_DB, CEILING_DB),
        tuple((float(ms), number(float(ms), 0)) for ms in np.arange(0.0, end + 0.01, 5.0)),
        "ms after the direct sound",
        shaded=((start, stop, target.level_db, CEILING_DB, "above-target", _target_words(target)),),
        flags=tuple(_flag(peak) for peak in sorted(peaks, key=lambda peak: -peak.level_db)[:FLAGS] if peak.arrivals),
        reported={
            "kind": "time",
            "flight": round(flight, 3),
            "metresPerMs": results.built.air.speed_of_sound_m_s / 1000.0,
            "peaks": [[round(p.time_ms, 2), round(p.level_db, 1), f"{peak_mark(p)} {p.label}"] for p in peaks],
        },
    )
    caption = (
        f"Energy-time curve of the {escaped(whose)} at the ear. The direct sound arrives "
        f"{number(flight, 2)} ms after it left the monitor. Numbers are ranks in the tables of arrivals; the "
        "judgement itself goes octave by octave, so a peak may stay below the line here and still fail."
    )
    rows = [
        row(
            [
                peak_mark(peak),
                escaped(peak.label),
                number(peak.time_ms, 2),
                number(peak.time_ms + flight, 2),
                number(peak.level_db, 1),
            ],
            words=2,
        )
        for peak in peaks
    ]
    listed = table(
        f"Peaks of the {escaped(whose)}",
        ["Arrival", "Via", "ms after direct", "ms from the monitor", "dB re direct"],
        rows,
        words=2,
    )
    more = folded(f"All {len(peaks)} peaks as a table", listed, prints=False) if peaks else ""
    return figure(chart, caption, number_of) + more, chart.data()


def response_figure(
    layouts: Sequence[Results], looks: Sequence[Look], speaker: int, number_of: int
) -> tuple[str, dict[str, Any]]:
    """Response at the ear of one loudspeaker: of one layout with and without things, or of several layouts."""
    first = layouts[0]
    look = loudspeaker_looks([one.name for one in first.built.loudspeakers])[speaker]
    levels = first.responses.response.levels
    bands = levels.bands.nominal_hz
    several = len(layouts) > 1
    reported: dict[str, Any] = {"kind": "frequency"}
    choice = ""
    series: list[Series] = []
    behind: tuple[Background, ...] = ()
    if several:
        for one, result in zip(looks, layouts, strict=True):
            whole = result.responses.response.levels.whole_db[speaker, 0, 0]
            series.append(Series(f"{one.letter}: {one.name}", whole, one.colour, one.dashes, 2.0))
        words = "of the layouts laid over each other"
    else:
        whole = levels.whole_db[speaker, 0]
        series.append(Series("everything", whole[0], look.colour, "", 2.4))
        top = _most_telling(first, speaker)
        if top:
            series.append(Series(f"without the {levels.without[top]}", whole[top], LEFT_OUT, "6 3", 1.6))
            reported["cases"] = [
                {"name": f"without the {levels.without[case]}", "tenths": tenths(whole[case])}
                for case in range(1, len(levels.without))
            ]
            options = "".join(
                f'<option value="{case - 1}"{" selected" if case == top else ""}>{escaped(name)}</option>'
                for case, name in enumerate(levels.without[1:], start=1)
            )
            choice = (
                f'<p class="choice needs-script"><label>Left out for the dashed line '
                f'<select data-chart="response-{speaker}">{options}</select></label></p>'
            )
        behind = (_as_calculated(first, speaker),)
        words = "with everything, and with one thing left out"
    chart = Chart(
        f"response-{speaker}",
        f"Response at the ear, {look.name} monitor",
        bands,
        tuple(series),
        (LOWEST_HZ, HIGHEST_HZ),
        RESPONSE_DB,
        tuple((hz, short_hertz(hz)) for hz in _octaves()),
        "Hz",
        logarithmic=True,
        shaded=_not_judged(layouts),
        behind=behind,
        height=300.0,
        reported=reported,
    )
    caption = (
        f"Response at the ear of the {escaped(look.name)} monitor {words}: mean of the energy in each "
        "third-octave, relative to the direct sound of the whole monitor in the same band. Zero would be the "
        "direct sound alone"
        + ("; the thin grey line is the same frequency by frequency." if behind else ".")
        + f" Below {max(one.responses.transition_hz for one in layouts):.0f} Hz, shaded, nothing is judged."
    )
    return choice + figure(chart, caption, number_of), chart.data()


def _as_calculated(results: Results, speaker: int) -> Background:
    """Level at the ear re direct, frequency by frequency; where the direct sound is hidden, re a thousandth of it."""
    response = results.responses.response
    shown = (response.frequencies_hz >= LOWEST_HZ) & (response.frequencies_hz <= HIGHEST_HZ)
    direct = np.maximum(np.abs(response.direct[speaker, 0, shown]), 1e-3)
    level = 20.0 * np.log10(np.maximum(np.abs(response.total[speaker, 0, shown]) / direct, 1e-6))
    return Background(response.frequencies_hz[shown], level, AS_CALCULATED)


def figure(chart: Chart, caption: str, number_of: int) -> str:
    """A chart with its caption and the line in which values are told."""
    return (
        f'<figure>{chart.markup()}<p class="readout needs-script" id="{chart.name}-value" aria-live="polite">'
        "Point at the curve for values, or reach it with the Tab key and use the arrow keys.</p>"
        f"<figcaption><b>Figure {number_of}.</b> {caption}</figcaption></figure>"
    )


def _flag(peak: Peak) -> Flag:
    """The name of a peak over its curve: its likeliest arrival, cut short where it is long."""
    rank, _, _ = peak_mark(peak).partition("+")
    direct = rank == "0"
    words = "direct" if direct else f"{rank} {peak.label}"
    if len(words) > LONGEST_FLAG:
        words = words[: LONGEST_FLAG - 2].rstrip(" >") + "…"
    return Flag(peak.time_ms, peak.level_db, words, rank, before=direct)


def _target_words(target: Target) -> str:
    return f"above {number(target.level_db, 0)} dB within {target.window_ms[0]:g} to {target.window_ms[1]:g} ms"


def _octaves() -> list[float]:
    return [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0, 16000.0]


def _not_judged(layouts: Sequence[Results]) -> tuple[tuple[float, float, float, float, str, str], ...]:
    edge = max(result.responses.transition_hz for result in layouts)
    if edge <= LOWEST_HZ:
        return ()
    return ((LOWEST_HZ, min(edge, HIGHEST_HZ), *RESPONSE_DB, "not-judged", ""),)


def _most_telling(results: Results, speaker: int) -> int:
    """Number of the case whose absence changes the level most in the judged part of the target band; 0 for none."""
    levels, target = results.responses.response.levels, results.scene.blueprint.target
    nominal: FloatArray = levels.bands.nominal_hz
    inside = (nominal >= max(results.responses.transition_hz, target.band_hz[0])) & (nominal <= target.band_hz[1])
    if not inside.any() or len(levels.without) < 2:
        return 0
    change = np.abs(levels.whole_db[speaker, 0, 1:, inside] - levels.whole_db[speaker, 0, :1, inside])
    return 1 + int(np.argmax(change.mean(axis=0)))
