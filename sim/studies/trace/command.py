"""The main job: trace a scene into a results folder."""

from __future__ import annotations

import argparse

from sim.showing.arguments import order_argument, output_arguments, scene_argument, waves_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import draw_and_list


def trace_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan trace`."""
    scene_argument(command)
    output_arguments(command)
    order_argument(command)
    waves_argument(command)
    command.set_defaults(run=trace_command)


def trace_command(chosen: argparse.Namespace) -> int:
    """Trace a scene into a results folder."""
    from sim.pipeline import trace
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.trace.screen import show_results

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        results = trace(chosen.scene, progress, order=chosen.order, waves_to_hz=chosen.waves_to)
        write_answer(results, folder, report=progress)
    show_results(results)
    draw_and_list(chosen, results)
    return 0
