"""Search: ranges and the scene's target in, several good layouts out."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..command_lines import typed
from ..errors import SceneError
from .screen import compile_first, list_files, progress, say


def search_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan search`."""
    command.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    command.add_argument(
        "--vary", action="append", required=True, metavar="FIELD=FROM:TO",
        help="what may vary and how far: left.height=1.0:1.4 or desk.depth=60cm:80cm; lengths in the unit of the scene"
        " unless they bring their own; give it again for each number",
    )  # fmt: skip
    command.add_argument("--layouts", type=int, default=4, metavar="K", help="layouts to look for (default: 4)")
    command.add_argument("--seed", type=int, metavar="N", help="the same seed, the same answer (default: the scene's)")
    command.add_argument("--untied", action="store_true", help="left and right move on their own, not as mirror images")
    command.add_argument("--processes", type=int, metavar="N", help="processes to share the work (default: all cores)")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.set_defaults(run=search_command)


def search_command(chosen: argparse.Namespace) -> int:
    """Search a scene for good layouts; exit code 2 when none is possible and keeps all limits."""
    from ..blueprint.reader import read_scene
    from ..studies.search import plan_search, search
    from ..writers.folder import results_folder
    from ..writers.paragraphs import write_lines
    from ..writers.search_text import search_lines, write_layout_scenes, write_layouts
    from .sweeping import asked

    if chosen.processes is not None and chosen.processes < 1:
        raise SceneError("--processes", f"it is {chosen.processes}", "give 1 or more")
    compile_first()
    scene, vary = read_scene(chosen.scene), asked(chosen.vary)
    plan_search(scene, vary, tied=not chosen.untied)  # what can be refused at once is refused before the folder
    with results_folder(chosen.output, overwrite=chosen.replace, reads=[chosen.scene]) as folder:
        found = search(
            scene, vary, layouts=chosen.layouts, seed=chosen.seed, tied=not chosen.untied, processes=chosen.processes,
            report=progress,
        )  # fmt: skip
        lines = search_lines(found)
        write_lines(lines, folder / "search.txt")
        write_layouts(found, folder / "layouts.csv")
        homes = [home.name for home in write_layout_scenes(found, folder)]
    for line in lines:
        say(line)
    say("")
    list_files(chosen.output)
    if homes:
        scenes = [chosen.scene, *(chosen.output / home for home in homes)]
        say(f"look closer with: {typed('bounceplan', 'compare', *scenes, '-o', f'{chosen.output}-compared')}")
    return 0 if homes else 2
