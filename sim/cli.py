"""Commands and their arguments; what they do is in the pipeline and the writers."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from string import ascii_uppercase

from . import __version__
from .errors import OutputError, PictureError

UNITS = ("m", "cm", "mm", "in", "ft")


def parser() -> argparse.ArgumentParser:
    """All commands with their arguments."""
    top = argparse.ArgumentParser(
        prog="bounceplan",
        description="Early reflections of studio monitors in 3D: where they strike, how strong, what a change buys.",
        epilog="A scene is a text file of tape measurements. Start with: bounceplan new myroom --box 3.4 4.2 2.4",
    )
    top.add_argument("--version", action="version", version=f"bounceplan {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)

    new = commands.add_parser("new", help="write a commented scene from box dimensions, and a plan to confirm")
    new.add_argument("folder", type=Path, help="folder to make")
    new.add_argument("--box", nargs=3, required=True, metavar=("WIDTH", "DEPTH", "HEIGHT"), help="inside sizes")
    new.add_argument("--units", choices=UNITS, default="m", help="unit of the sizes and of the file")
    new.add_argument("--title", default="", help="what the room is called")
    new.set_defaults(run=_new)

    check = commands.add_parser("check", help="read a scene and print the set-up sheet; nothing is traced")
    check.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    check.add_argument("--plan", type=Path, metavar="PNG", help="also draw the plan to this file")
    check.set_defaults(run=_check)

    trace = commands.add_parser("trace", help="the main job: tables, curves, hotspots, pictures, tape coordinates")
    trace.add_argument("scene", type=Path, help="scene file, or a folder with scene.toml")
    _output(trace)
    trace.add_argument("--order", type=int, choices=range(1, 7), help="most surfaces a path may touch")
    trace.set_defaults(run=_trace)

    compare = commands.add_parser("compare", help="two or more layouts on the same axes, and what changed in words")
    compare.add_argument("scenes", type=Path, nargs="+", help="scene files or folders; the first is the reference")
    _output(compare)
    compare.set_defaults(run=_compare)

    draw = commands.add_parser("draw", help="draw the pictures of a results folder again")
    draw.add_argument("folders", type=Path, nargs="+", help="results folders; several are drawn side by side")
    draw.add_argument("-o", "--output", type=Path, metavar="DIR", help="where the pictures go")
    draw.set_defaults(run=_draw)

    absorber = commands.add_parser("absorber", help="what one absorber build-up returns, by frequency and angle")
    absorber.add_argument("build_up", help='a name from the library, or layers: "100 mm wool, 100 mm gap"')
    absorber.add_argument("--picture", type=Path, metavar="PNG", help="also draw it to this file")
    absorber.set_defaults(run=_absorber)

    schema = commands.add_parser("schema", help="print the JSON Schema of scene files, for editors")
    schema.set_defaults(run=_schema)
    return top


def _output(command: argparse.ArgumentParser) -> None:
    command.add_argument("-o", "--output", type=Path, required=True, metavar="DIR", help="results folder to make")
    command.add_argument("--replace", action="store_true", help="replace a results folder that is already there")
    command.add_argument("--no-pictures", action="store_true", help="numbers only")


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code.

    Raises
    ------
    BounceplanError
        For whatever a person can put right.
    """
    chosen = parser().parse_args(arguments)
    command: Callable[[argparse.Namespace], int] = chosen.run
    return command(chosen)


def say(words: str) -> None:
    """Print to the screen."""
    print(words, flush=True)  # noqa: T201


def progress(words: str) -> None:
    """Say what is happening, apart from what may be piped on."""
    print(f"  ... {words}", file=sys.stderr, flush=True)  # noqa: T201


def _new(chosen: argparse.Namespace) -> int:
    from .pictures import draw_plan_of
    from .pipeline import check
    from .writers.new_scene import start_scene

    scene_path = start_scene(chosen.folder, chosen.box, units=chosen.units, title=chosen.title)
    check(scene_path)
    say(f"wrote {scene_path}")
    picture = chosen.folder / "plan.png"
    trouble = draw_plan_of(scene_path, picture, progress)
    say(f"no plan was drawn: {trouble}" if trouble else f"wrote {picture}: is this your room?")
    say(f"next: put your own tape measurements in, then: bounceplan check {chosen.folder}")
    return 0


def _check(chosen: argparse.Namespace) -> int:
    from .pictures import draw_plan_of
    from .pipeline import check
    from .placement.sheet import setup_sheet
    from .writers.setup_text import setup_lines

    _say_if_cold()
    scene, stage = check(chosen.scene)
    for line in setup_lines(scene, stage, setup_sheet(stage)):
        say(line)
    if chosen.plan is not None:
        trouble = draw_plan_of(chosen.scene, chosen.plan, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.plan}")
    return 0


def _trace(chosen: argparse.Namespace) -> int:
    from .pipeline import save, trace
    from .writers.folder import results_folder
    from .writers.screen import show_results

    _say_if_cold()
    with results_folder(chosen.output, overwrite=chosen.replace) as folder:
        results = trace(chosen.scene, progress, order=chosen.order)
        progress("writing tables and results.h5")
        save(results, folder)
    show_results(results)
    _draw_and_list(chosen, [chosen.output])
    return 0


def _compare(chosen: argparse.Namespace) -> int:
    from .pipeline import save, trace
    from .studies.compare import compare
    from .writers.comparison_text import comparison_lines, write_comparison
    from .writers.folder import results_folder

    if not 2 <= len(chosen.scenes) <= len(ascii_uppercase):
        raise OutputError(
            f"compare takes 2 to {len(ascii_uppercase)} scenes and was given {len(chosen.scenes)};"
            " name them one after the other."
        )
    _say_if_cold()
    parts: list[Path] = []
    with results_folder(chosen.output, overwrite=chosen.replace) as folder:
        traced = []
        for letter, scene in zip(ascii_uppercase, chosen.scenes, strict=False):
            progress(f"{letter}: {scene}")
            traced.append(trace(scene, progress))
            (folder / letter).mkdir()
            save(traced[-1], folder / letter)
            parts.append(chosen.output / letter)
        comparison = compare(traced)
        lines = comparison_lines(comparison)
        (folder / "comparison.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
        write_comparison(comparison, folder / "comparison.csv")
    for line in lines:
        say(line)
    _draw_and_list(chosen, parts)
    return 0


def _draw(chosen: argparse.Namespace) -> int:
    from .pictures import ARCHIVE

    for folder in chosen.folders:
        if not (folder / ARCHIVE).is_file():
            raise OutputError(f"{folder} holds no {ARCHIVE}; name a folder that bounceplan trace has written.")
    out: Path = chosen.output or chosen.folders[0]
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{out}: no folder can be made here ({fault.strerror}); choose another with -o.") from None
    trouble = _drawn(chosen.folders, out)
    if trouble:
        raise PictureError(trouble)
    return 0


def _absorber(chosen: argparse.Namespace) -> int:
    from .acoustics.air import Air
    from .blueprint.build_ups import build_up_in_words
    from .errors import SceneError
    from .pictures import draw_absorber_of
    from .writers.absorber_text import absorber_lines

    try:
        build_up = build_up_in_words(chosen.build_up)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError("absorber", found, remedy.rstrip(".") or "name a library build-up or its layers") from None
    for line in absorber_lines(build_up, Air()):
        say(line)
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0


def _schema(_: argparse.Namespace) -> int:
    from .blueprint.writing import json_schema_text

    say(json_schema_text().rstrip())
    return 0


def _draw_and_list(chosen: argparse.Namespace, folders: list[Path]) -> None:
    """Draw the pictures, numbers being safe, and list what there is; missing pictures are no failure."""
    folder: Path = chosen.output
    trouble = "" if chosen.no_pictures else _drawn(folders, folder)
    if trouble:
        say(f"some pictures could not be drawn; all numbers are there. {trouble}")
    say("")
    say(f"written to {folder}:")
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            say(f"  {path.relative_to(folder)}")


def _drawn(folders: list[Path], out: Path) -> str:
    """Draw, and note new pictures as belonging to the results, so that they go when these are replaced."""
    from .pictures import draw_folders
    from .writers.folder import CONTENTS, add_to_contents

    noting = [folder for folder in dict.fromkeys([*folders, out]) if (folder / CONTENTS).is_file()]
    before = {folder: set(folder.rglob("*.png")) for folder in noting}
    trouble = draw_folders(folders, out, progress)
    for folder in noting:
        add_to_contents(folder, set(folder.rglob("*.png")) - before[folder])
    return trouble


def _say_if_cold() -> None:
    """Warn that the first run on a machine compiles the kernels."""
    import os

    if not any(Path(os.environ["NUMBA_CACHE_DIR"]).rglob("*.nbi")):
        progress("first run on this machine: compiling the ray kernels takes about half a minute, once")
