"""Compare two or more layouts."""

from __future__ import annotations

import argparse

from sim.errors import OutputError
from sim.showing.arguments import output_arguments, scenes_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import draw_and_list, say_answer


def compare_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan compare`."""
    scenes_argument(command)
    output_arguments(command)
    command.set_defaults(run=compare_command)


def compare_command(chosen: argparse.Namespace) -> int:
    """Trace several scenes and say what differs; three and more also come in one table."""
    from sim.showing.folder import results_folder
    from sim.studies.compare.comparison import compare
    from sim.studies.saving import write_answer

    if len(chosen.scenes) < 2:
        raise OutputError("compare takes 2 or more scenes and was given 1; name them one after the other.")
    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=chosen.scenes) as folder:
        comparison = compare(chosen.scenes, progress)
        write_answer(comparison, folder, report=progress)
    say_answer(comparison)
    draw_and_list(chosen, comparison)
    return 0
