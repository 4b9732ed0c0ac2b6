"""Several good layouts that differ, within ranges."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from sim.errors import SceneError
from sim.machine.processes import typed
from sim.showing.terminal import (
    compile_first,
    output_arguments,
    processes_argument,
    progress,
    say,
    scene_argument,
    told_scene,
)
from sim.studies.answering import answer_into_folder

if TYPE_CHECKING:
    from pathlib import Path

    from sim.progress import Report
    from sim.studies.search.search import Search


def lines(search: Search) -> list[str]:
    """What the command says."""
    from sim.studies.search.text import search_lines

    return search_lines(search)


def write(search: Search, folder: Path, _: Report, __: bool) -> None:
    """Write what was found in words, as a table, and as scenes that other commands take."""
    from sim.showing.words import write_lines
    from sim.studies.search.text import write_layout_scenes, write_layouts

    write_lines(lines(search), folder / "search.txt")
    write_layouts(search, folder / "layouts.csv")
    write_layout_scenes(search, folder)


# The command.


def search_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan search`."""
    scene_argument(command)
    command.add_argument(
        "--vary",
        action="append",
        required=True,
        metavar="FIELD=FROM:TO",
        help="what may vary and how far: left.height=1.0:1.4 or desk.depth=60cm:80cm; lengths in the unit of the scene"
        " unless they bring their own; give it again for each number",
    )
    command.add_argument("--layouts", type=int, default=4, metavar="K", help="layouts to look for (default: 4)")
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    command.add_argument("--untied", action="store_true", help="left and right move on their own, not as mirror images")
    processes_argument(command)
    output_arguments(command, pictures=False)
    command.set_defaults(run=search_command)


def search_command(chosen: argparse.Namespace) -> int:
    """Search a scene for good layouts; exit code 2 when none is possible and keeps all limits."""
    from sim.blueprint.reader import read_scene
    from sim.layouts.values import asked
    from sim.studies.search.search import plan_search, search
    from sim.studies.search.text import layout_name

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()
    scene, vary = read_scene(told_scene(chosen)), asked(chosen.vary)
    plan_search(scene, vary, tied=not chosen.untied)  # what can be refused at once is refused before the folder
    found = answer_into_folder(
        chosen,
        lambda: search(
            scene,
            vary,
            layouts=chosen.layouts,
            seed=chosen.seed,
            tied=not chosen.untied,
            processes=chosen.processes,
            report=progress,
        ),
    )
    homes = [chosen.output / layout_name(number) for number in range(len(found.layouts))]
    if homes and not chosen.set:  # comparing takes the set that each scene itself names
        command = typed("bounceplan", "compare", chosen.scene, *homes, "-o", f"{chosen.output}-compared")
        say(f"look closer with: {command}")
    return 0 if homes else 2
