"""Plan the treatment of a room: which panels, exactly where, what that buys, and the papers."""

from __future__ import annotations

import argparse
from pathlib import Path

from sim.showing.terminal import compile_first, draw_and_list, progress, say_answer
from sim.studies.sheets.command import paper_argument


def treat_arguments(command: argparse.ArgumentParser) -> None:
    """Say what `treat` takes."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--panels", type=int, metavar="N", help="most panels in all, in place of the scene's number")
    command.add_argument("--budget", type=float, metavar="X", help="most they may cost, in place of the scene's budget")
    paper_argument(command)
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers and words only")
    command.set_defaults(run=treat_command)


def treat_command(chosen: argparse.Namespace) -> int:
    """Plan, trace before and after, and write everything into a results folder."""
    from sim.studies.saving import write_whole_plan
    from sim.studies.treat.plan import treat
    from sim.showing.folder import results_folder

    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        plan = treat(chosen.scene, progress, panels=chosen.panels, budget=chosen.budget)
        write_whole_plan(plan, folder, progress, paper=chosen.paper)
    say_answer(plan)
    draw_and_list(chosen, plan)
    return 0
