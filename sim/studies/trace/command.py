"""The main job and what follows it: trace a scene, compare several, draw results again."""

from __future__ import annotations

import argparse

from sim.errors import OutputError
from sim.showing.terminal import compile_first, draw_and_list, progress, say_answer


def trace_command(chosen: argparse.Namespace) -> int:
    """Trace a scene into a results folder."""
    from sim.pipeline import trace
    from sim.studies.saving import write_answer
    from sim.showing.folder import results_folder
    from sim.studies.trace.screen import show_results

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        results = trace(chosen.scene, progress, order=chosen.order)
        write_answer(results, folder, report=progress)
    show_results(results)
    draw_and_list(chosen, results)
    return 0


def compare_command(chosen: argparse.Namespace) -> int:
    """Trace several scenes and say what differs; three and more also come in one table."""
    from sim.studies.saving import write_answer
    from sim.studies.compare.comparison import compare
    from sim.showing.folder import results_folder

    if len(chosen.scenes) < 2:
        raise OutputError("compare takes 2 or more scenes and was given 1; name them one after the other.")
    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=chosen.scenes) as folder:
        comparison = compare(chosen.scenes, progress)
        write_answer(comparison, folder, report=progress)
    say_answer(comparison)
    draw_and_list(chosen, comparison)
    return 0


def draw_command(chosen: argparse.Namespace) -> int:
    """Draw the pictures of results folders again."""
    from sim.pictures import draw

    draw(chosen.folders, chosen.output, progress)
    return 0
