"""The main job and what follows it: trace a scene, compare several, draw results again."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import OutputError, PictureError
from .screen import compile_first, draw_and_list, drawn, progress, say

MANY = 3
"""From so many scenes on there is a table with a row for each."""
MOST_SAID = 8
"""Up to so many scenes the screen also shows each of them against the first; comparison.txt always does."""


def trace_command(chosen: argparse.Namespace) -> int:
    """Trace a scene into a results folder."""
    from ..pipeline import save, trace
    from ..writers.folder import results_folder
    from ..writers.screen import show_results

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        results = trace(chosen.scene, progress, order=chosen.order)
        progress("writing tables and results.h5")
        save(results, folder)
    show_results(results)
    draw_and_list(chosen, [chosen.output])
    return 0


def compare_command(chosen: argparse.Namespace) -> int:
    """Trace several scenes and say what differs; three and more also come in one table."""
    from ..pictures import draw_many
    from ..pipeline import save, trace
    from ..studies.compare import compare
    from ..studies.many import compare_many, letter_of
    from ..writers.comparison_text import comparison_lines, write_comparison, write_ear_comparison
    from ..writers.folder import results_folder
    from ..writers.many_text import many_lines, write_many
    from ..writers.paragraphs import write_lines

    if len(chosen.scenes) < 2:
        raise OutputError("compare takes 2 or more scenes and was given 1; name them one after the other.")
    compile_first()
    parts: list[Path] = []
    with results_folder(chosen.output, overwrite=chosen.replace, reads=chosen.scenes) as folder:
        traced = []
        for number, scene in enumerate(chosen.scenes):
            letter = letter_of(number)
            progress(f"{letter}: {scene}")
            traced.append(trace(scene, progress))
            (folder / letter).mkdir()
            save(traced[-1], folder / letter)
            parts.append(chosen.output / letter)
        comparison = compare(traced)
        lines = comparison_lines(comparison)
        write_lines(lines, folder / "comparison.txt")
        write_comparison(comparison, folder / "comparison.csv")
        write_ear_comparison(comparison, folder / "comparison_at_the_ear.csv")
        if len(traced) >= MANY:
            many = compare_many(traced)
            write_many(many, folder)
            lines = [*many_lines(many), "", *lines] if len(traced) <= MOST_SAID else many_lines(many)
    for line in lines:
        say(line)
    if len(traced) >= MANY and not chosen.no_pictures:
        trouble = draw_many(parts, chosen.output / "pareto.png", progress)
        if trouble:
            say(trouble)
    draw_and_list(chosen, parts)
    return 0


def draw_command(chosen: argparse.Namespace) -> int:
    """Draw the pictures of results folders again."""
    from ..pictures import ARCHIVE

    for folder in chosen.folders:
        if not (folder / ARCHIVE).is_file():
            raise OutputError(f"{folder} holds no {ARCHIVE}; name a folder that bounceplan trace has written.")
    out: Path = chosen.output or chosen.folders[0]
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{out}: no folder can be made here ({fault.strerror}); choose another with -o.") from None
    trouble = drawn(chosen.folders, out)
    if trouble:
        raise PictureError(trouble)
    return 0
