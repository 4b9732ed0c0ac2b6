"""What a person reads in the terminal after a trace: verdicts, the worst arrivals, and what was nearly one.

Text only: words instead of colours carry the meaning, so that it can be piped, printed and read aloud.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sim.blueprint.sets import words_on_sets
from sim.responses.ear_records import Notch
from sim.responses.records import Results, Verdict
from sim.showing.numbers import bare_length, format_small, hertz, level_cell
from sim.showing.words import SHOWN_OCTAVES_HZ, near_misses, opening, reflections, verdict_sentence, worst_offender

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

ROWS: Final = 8
"""Arrivals that are listed of one loudspeaker alone, three of each of several; arrivals.csv has all."""
PIPED: Final = 160
"""Columns of text where nobody looks: in a pipe or a file."""
VIA: Final = 46
"""Letters of the second column where there is room."""
ALIKE_DB, ALIKE_MS = 0.1, 0.02
"""Left and right are alike on a screen that prints tenths of a decibel and hundredths of a millisecond."""


def show_results(results: Results, console: Console | None = None, most: int | None = None) -> None:
    """Print verdict, worst arrivals and near misses of each loudspeaker at the ear, and the verdicts of other seats.

    Loudspeakers that are mirror images of each other are told once.  `most` arrivals are listed of each; left out, as
    many as a screen of 25 lines holds.
    """
    from rich.console import Console

    out = console or Console(highlight=False)
    if console is None and not out.is_terminal:
        out = Console(highlight=False, width=PIPED)
    if sets := words_on_sets(results.scene.blueprint):
        out.print(f"{sets[0].upper()}{sets[1:]}. Everything below is of that set.", markup=False)
    for words in results.built.warnings or (opening(results),):
        out.print(words, style="bold", markup=False)
    ear = results.built.listener_names[0]
    mains = [verdict for verdict in results.responses.verdicts if verdict.listener == ear]
    alike = len(mains) == 2 and _alike(results, *mains)
    told = mains[:1] if alike else mains
    rows = most or (ROWS if len(told) == 1 else 3)
    listed = [reflections(results, verdict.loudspeaker, verdict.listener) for verdict in told]
    left = sum(max(0, len(mine) - rows) for mine in listed)
    via = max((len(one.via) for mine in listed for one in mine[:rows]), default=0)
    for place, (verdict, mine) in enumerate(zip(told, listed, strict=True)):
        pair = (verdict.loudspeaker, verdict.listener)
        who = f"{mains[0].loudspeaker} and {mains[1].loudspeaker} alike at the {ear}" if alike else ""
        out.print(verdict_sentence(results, verdict, who), style="bold", markup=False)
        if mine:
            table = arrivals_table(results, *pair, most=rows, headings=place == 0, via=min(via, VIA))
            # Measured with room to spare: the measure of a narrow screen never exceeds its width.
            if out.measure(table, options=out.options.update(width=1000)).minimum > out.width:
                table = arrivals_table(results, *pair, wide=False, most=rows, headings=place == 0)
            out.print(table)
        for words, sentences in (
            ("Dips at the ear", deepest_notches(results, *pair)),
            ("Borderline", near_misses(results, *pair)[:3]),
        ):
            if sentences:
                out.print(f"{words}: {'; '.join(sentences)}", markup=False)
    others = [verdict for verdict in results.responses.verdicts if verdict not in mains]
    told_of: dict[tuple[str, str], list[str]] = {}
    for verdict in others:
        told_of.setdefault((verdict.listener, _in_short(results, verdict)), []).append(verdict.loudspeaker)
    if told_of:
        seats = (f"{' and '.join(names)} at the {seat}: {words}" for (seat, words), names in told_of.items())
        out.print("; ".join(seats), markup=False)
    more = f"{left} weaker ones are in arrivals.csv. " if left else ""
    out.print(f"{more}Below {results.responses.transition_hz:.0f} Hz nothing is judged.", markup=False)


def _in_short(results: Results, verdict: Verdict) -> str:
    """How a loudspeaker stands at another seat, in a few words."""
    if verdict.met:
        return "the target is met"
    worst = worst_offender(results, verdict)
    if worst is None:
        whole = verdict_sentence(results, verdict).removesuffix(".")
        return whole.removeprefix(f"{verdict.loudspeaker} at the {verdict.listener}: ")
    above = results.scene.blueprint.target.level_db
    return f"{len(verdict.offenders)} above {above:g} dB, the worst {worst.via}, {level_cell(worst.worst_db)} dB"


def _alike(results: Results, one: Verdict, other: Verdict) -> bool:
    """Whether two loudspeakers are mirror images: the same arrivals, borderline cases and dips, left for right."""
    mine, theirs = (reflections(results, verdict.loudspeaker, verdict.listener) for verdict in (one, other))
    if len(mine) != len(theirs) or not mine:
        return False
    pairs = zip(mine[:ROWS], theirs[:ROWS], strict=True)
    same = all(
        a.via == _mirrored(b.via)
        and abs(a.main.delay_ms - b.main.delay_ms) < ALIKE_MS
        and abs(a.worst_db - b.worst_db) < ALIKE_DB
        for a, b in pairs
    )
    told = [
        (*deepest_notches(results, v.loudspeaker, v.listener), *near_misses(results, v.loudspeaker, v.listener))
        for v in (one, other)
    ]
    return same and list(told[0]) == [_mirrored(words) for words in told[1]]


def _mirrored(words: str) -> str:
    """Words with left and right exchanged."""
    return "left".join(part.replace("left", "right") for part in words.split("right"))


def arrivals_table(
    results: Results,
    loudspeaker: str,
    listener: str,
    *,
    most: int = ROWS,
    wide: bool = True,
    headings: bool = True,
    via: int = 10,
) -> Table:
    """Return the worst arrivals as a table, rank 1 first; lengths in the unit of the scene file.

    With headings, or to stand below another table whose second column is `via` letters wide.

    The point is that of the driver that matters most, on the first surface of the way.
    """
    from rich.table import Table
    from rich.text import Text

    unit = results.scene.blueprint.units
    bands = results.responses.bands.nominal_hz
    octaves = [int(np.argmin(np.abs(bands - hz))) for hz in SHOWN_OCTAVES_HZ]
    levels = [f"{hertz(hz)}\ndB" for hz in SHOWN_OCTAVES_HZ]
    names = ["after\ndirect ms", *levels, "worst\ndB at Hz" if wide else "worst\ndB"]
    if wide:
        names += [f"longer\nby {unit}", "off axis\ndeg", "point, from\nfront", "\nleft", f"\nup ({unit})"]
    rows = []
    for arrival in reflections(results, loudspeaker, listener)[:most]:
        main = arrival.main
        cells = [f"{main.delay_ms:.2f}", *(level_cell(arrival.level_db[octave]) for octave in octaves)]
        cells.append(level_cell(arrival.worst_db))
        if wide:
            cells[-1] += f" at {arrival.worst_band_hz:g}"
            cells += [bare_length(main.extra_path_m, unit), f"{main.departure_deg:.0f}"]
            place = main.points[0] if len(main.points) else ()
            cells += [bare_length(float(length), unit) for length in place] or ["-", "-", "-"]
        cells += [format_small(main.margin_m, unit) or "-", "fragile" if arrival.fragile else ""]
        rows.append([str(arrival.number), arrival.via, *cells])
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=headings)
    table.add_column("rank", justify="right", min_width=4)
    table.add_column("via", min_width=max(10, via), overflow="fold")
    for place, heading in enumerate([*names, "vanishes\nwithin", ""], start=2):
        width = max(len(text) for text in (*heading.split("\n"), *(row[place] for row in rows)))
        table.add_column(heading, justify="right", no_wrap=True, min_width=width)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


def deepest_notches(results: Results, loudspeaker: str, listener: str, most: int = 2) -> tuple[str, ...]:
    """Return the deepest notches at the ear, a sentence each: those there, and one that a panel keeps away."""
    mine = [n for n in results.responses.notches if (n.loudspeaker, n.listener) == (loudspeaker, listener)]
    there = [_notch_sentence(notch) for notch in [n for n in mine if n.present][:most]]
    return (*there, *(_notch_sentence(notch) for notch in [n for n in mine if not n.present][:1]))


def _notch_sentence(notch: Notch) -> str:
    start = f"{notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB deep, {notch.driver}: "
    if not notch.present:
        return f"{start}kept away by the panel {notch.panel}"
    words = f"{notch.surface}: without it {notch.rise_db:.0f} dB more" if notch.surface else "no single cause"
    if notch.panel:
        change = f"{abs(notch.panel_rise_db):.0f} dB {'more' if notch.panel_rise_db > 0.0 else 'less'}"
        words += f"; without the panel {notch.panel} {change}"
    return start + words
