"""What a person reads in the terminal after a trace: verdicts, the worst arrivals, and what was nearly one.

Text only: words instead of colours carry the meaning, so that it can be piped, printed and read aloud.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sim.responses.ear_records import Notch
from sim.responses.records import Results
from sim.showing.numbers import bare_length, format_small, hertz, level_cell
from sim.showing.opening import opening
from sim.showing.words import SHOWN_OCTAVES_HZ, near_misses, reflections, verdict_sentence, window_sentence

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

MOST: Final = 10
PIPED: Final = 160
"""Columns of text where nobody looks: in a pipe or a file."""


def show_results(results: Results, console: Console | None = None, most: int = MOST) -> None:
    """Print verdict, worst arrivals and near misses of each loudspeaker at each listener."""
    from rich.console import Console

    out = console or Console(highlight=False)
    if console is None and not out.is_terminal:
        out = Console(highlight=False, width=PIPED)
    out.print(f"\n{opening(results)}", style="bold", markup=False)
    for warning in results.stage.warnings:
        out.print(f"\n{warning}", style="bold", markup=False)
    for verdict in results.responses.verdicts:
        pair = (verdict.loudspeaker, verdict.listener)
        out.print()
        out.print(verdict_sentence(results, verdict), style="bold", markup=False)
        mine = reflections(results, *pair)
        if mine:
            out.print()
            table = arrivals_table(results, *pair, most=most)
            # Measured with room to spare: the measure of a narrow screen never exceeds its width.
            if out.measure(table, options=out.options.update(width=1000)).minimum > out.width:
                table = arrivals_table(results, *pair, most=most, wide=False)
            out.print(table)
        if len(mine) > most:
            out.print(f"{len(mine) - most} weaker ones are in arrivals.csv.")
        for sentence in deepest_notches(results, *pair):
            out.print(sentence, markup=False)
        misses = near_misses(results, *pair)
        if misses:
            out.print("\nBorderline reflections:", markup=False)
        for sentence in misses:
            out.print(f"  {sentence}", markup=False)
    out.print(f"\n{window_sentence(results.responses.response.window)}", markup=False)
    out.print(f"\nBelow {results.responses.transition_hz:.0f} Hz nothing is judged.")


def arrivals_table(results: Results, loudspeaker: str, listener: str, *, most: int = MOST, wide: bool = True) -> Table:
    """Return the worst arrivals as a table, rank 1 first; lengths in the unit of the scene file.

    The point is that of the driver that matters most, on the first surface of the way.
    """
    from rich.table import Table
    from rich.text import Text

    unit = results.scene.blueprint.units
    bands = results.responses.bands.nominal_hz
    octaves = [int(np.argmin(np.abs(bands - hz))) for hz in SHOWN_OCTAVES_HZ]
    levels = [f"{hertz(hz)}\ndB" for hz in SHOWN_OCTAVES_HZ]
    headings = ["after\ndirect ms", *levels, "worst\ndB at Hz" if wide else "worst\ndB"]
    if wide:
        headings += [f"longer\nby {unit}", "off axis\ndeg", "point, from\nfront", "\nleft", f"\nup ({unit})"]
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
        rows.append([str(arrival.number), arrival.way, *cells])
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("rank", justify="right", min_width=4)
    table.add_column("via", min_width=10, overflow="fold")
    for place, heading in enumerate([*headings, "vanishes\nwithin", ""], start=2):
        width = max(len(text) for text in (*heading.split("\n"), *(row[place] for row in rows)))
        table.add_column(heading, justify="right", no_wrap=True, min_width=width)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    return table


def deepest_notches(results: Results, loudspeaker: str, listener: str, most: int = 3) -> tuple[str, ...]:
    """Return the deepest notches at the ear as one heading and a sentence each, or nothing."""
    mine = [n for n in results.responses.notches if (n.loudspeaker, n.listener) == (loudspeaker, listener)]
    reported = [_notch_sentence(notch) for notch in [n for n in mine if n.present][:most]]
    reported += [_notch_sentence(notch) for notch in [n for n in mine if not n.present][:1]]
    if not reported:
        return ()
    return ("\nDeepest notches at the ear (a twelfth of an octave against the octave around):", *reported)


def _notch_sentence(notch: Notch) -> str:
    start = f"  {notch.frequency_hz:.0f} Hz, {notch.depth_db:.0f} dB deep, {notch.driver}: "
    if not notch.present:
        return f"{start}kept away by the panel {notch.panel}"
    words = f"{notch.surface}: without it {notch.rise_db:.0f} dB more" if notch.surface else "no single cause"
    if notch.panel:
        change = f"{abs(notch.panel_rise_db):.0f} dB {'more' if notch.panel_rise_db > 0.0 else 'less'}"
        words += f"; without the panel {notch.panel} {change}"
    return start + words
