"""Plan the treatment of a room: which panels, exactly where, what that buys, and the papers."""

from __future__ import annotations

import argparse

from sim.showing.arguments import output_arguments, paper_argument, scene_argument
from sim.showing.terminal import compile_first, progress
from sim.studies.answering import draw_and_list, say_answer


def treat_arguments(command: argparse.ArgumentParser) -> None:
    """Say what `treat` takes."""
    scene_argument(command)
    output_arguments(command)
    command.add_argument("--panels", type=int, metavar="N", help="most panels in all, in place of the scene's number")
    command.add_argument("--budget", type=float, metavar="X", help="most they may cost, in place of the scene's budget")
    paper_argument(command)
    command.set_defaults(run=treat_command)


def treat_command(chosen: argparse.Namespace) -> int:
    """Plan, trace before and after, and write everything into a results folder."""
    from sim.showing.folder import results_folder
    from sim.studies.saving import write_answer
    from sim.studies.treat.plan import treat

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        plan = treat(chosen.scene, progress, panels=chosen.panels, budget=chosen.budget)
        write_answer(plan, folder, report=progress, paper=chosen.paper)
    say_answer(plan)
    draw_and_list(chosen, plan)
    return 0
