"""Pictures, always in child processes, after the numbers are safe.

The 3D library can bring down the whole process on a machine without graphics libraries.  A child that dies
takes nothing with it: its death becomes one sentence that says what to install.  A child never outlives the process
that started it, and draws beside the folder that its pictures are meant for: they are moved in when they are whole.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

from sim.machine.processes import own_python
from sim.errors import BounceplanError, OutputError, PictureError
from sim.showing.folder import Additions, adding_to

Report = Callable[[str], None]
ARCHIVE = "results.h5"
MOST_SIDE_BY_SIDE = 8
"""More rooms or curves than this in one picture are no longer told apart."""


def draw_folders(folders: Sequence[Path], out: Path, report: Report) -> str:
    """Draw all pictures of results folders; the first eight of several are also drawn side by side into `out`.

    Flat pictures come first.  Returns an empty text, or the sentence that says why the 3D pictures are missing.
    """
    jobs: list[tuple[Path, Sequence[Path]]] = [(out, folders[:MOST_SIDE_BY_SIDE])]
    if len(folders) > 1:
        jobs = [*((folder, [folder]) for folder in folders), *jobs]
    homes = _outermost([place for place, _ in jobs])
    with ExitStack() as stack:
        additions = {home: stack.enter_context(adding_to(home)) for home in homes}
        for kind in ("flat", "solid"):
            for place, sources in jobs:
                home = next(home for home in homes if _is_in(place, home))
                trouble = _drawn_beside(kind, additions[home], place, "", [str(source) for source in sources], report)
                if trouble:
                    return trouble
    return ""


def draw(
    folders: Path | str | Sequence[Path | str], out: Path | str | None = None, report: Report = lambda _: None
) -> Path:
    """Draw the pictures of results folders, several also side by side, and return the folder they are in.

    Parameters
    ----------
    folders
        What `trace` or `save` has written, one or several.
    out
        Where the pictures go; left out, into the first folder.
    report
        Called with a few words at the start of each stage.

    Raises
    ------
    OutputError
        If a folder holds no results, or `out` cannot be made.
    PictureError
        If they cannot be drawn on this machine.
    """
    sources = [Path(each) for each in ([folders] if isinstance(folders, Path | str) else folders)]
    for folder in sources:
        if not (folder / ARCHIVE).is_file():
            raise OutputError(f"{folder} holds no {ARCHIVE}; name a folder that bounceplan trace has written.")
    place = Path(out) if out is not None else sources[0]
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{place}: no folder can be made here ({fault.strerror}); choose another with -o.") from None
    trouble = draw_folders(sources, place, report)
    if trouble:
        raise PictureError(trouble)
    return place


def draw_plan_of(scene: Path, picture: Path, report: Report) -> str:
    """Draw the plan and section of a scene to a file; returns why that failed, or an empty text."""
    return _draw_in_child("plan", picture, [str(scene)], report)


def draw_absorber_of(words: str, picture: Path, report: Report) -> str:
    """Draw what an absorber returns to a file; returns why that failed, or an empty text."""
    return _draw_in_child("absorber", picture, [words], report)


def draw_loudspeaker_of(word: str, model: str | None, picture: Path, report: Report) -> str:
    """Draw what was understood of a loudspeaker to a file; returns why that failed, or an empty text."""
    return _draw_in_child("loudspeaker", picture, [word, *([model] if model is not None else [])], report)


def draw_explanation_of(
    folder: Path, loudspeaker: str, listener: str, number: int, picture: Path, report: Report
) -> str:
    """Draw one arrival of a results folder to a file; returns why that failed, or an empty text."""
    return _draw_in_child("explanation", picture, [str(folder), loudspeaker, listener, str(number)], report)


def draw_sweep(folder: Path, scene: Path, out: Path, report: Report) -> str:
    """Draw what a sweep's folder holds into `out`; returns why that failed, or an empty text.

    `scene` is the scene that was swept.
    """
    with adding_to(out) as additions:
        return _drawn_beside("sweep", additions, out, "", [str(folder), str(scene)], report)


def draw_many(folders: Sequence[Path], picture: Path, report: Report) -> str:
    """Draw which of several results folders are worth a look to a file; returns why that failed, or an empty text."""
    home, sources = picture.parent, [str(folder) for folder in folders]
    with adding_to(home) as additions:
        return _drawn_beside("many", additions, home, picture.name, sources, report)


def _outermost(places: Sequence[Path]) -> list[Path]:
    """Folders that lie in no other of them, each once."""
    different = list({place.resolve(): place for place in places}.values())
    return [place for place in different if not any(_is_in(place, home) for home in different if home is not place)]


def _is_in(place: Path, home: Path) -> bool:
    return place.resolve().is_relative_to(home.resolve())


def _drawn_beside(
    kind: str, additions: Additions, place: Path, name: str, sources: Sequence[str], report: Report
) -> str:
    """Draw beside a folder and move what is whole into it; returns why something is missing, or an empty text."""
    aside = additions.beside(place)
    try:
        trouble = _draw_in_child(kind, aside / name, sources, report)
    except OutputError as fault:
        raise OutputError(str(fault).replace(str(aside), str(place))) from None
    additions.move_in()
    return trouble


def _draw_in_child(kind: str, place: Path, sources: Sequence[str], report: Report) -> str:
    """Run `main` in a process of its own; returns why it failed, or an empty text.

    Raises
    ------
    OutputError
        If the pictures cannot be written.
    """
    from sim.studies.trace.pictures import run_child

    try:
        run_child(own_python("sim.pictures", kind, str(place), *sources), report=report)
    except PictureError as fault:
        return str(fault)
    return ""


def main(arguments: Sequence[str]) -> int:
    """What the child does: `flat` or `solid` with results folders, or one of the kinds of the functions above."""
    kind, place, *sources = arguments
    if kind == "plan":
        from sim.pipeline import build
        from sim.showing.plan_picture import draw_plan

        scene, stage = build(sources[0])
        draw_plan(stage, scene.blueprint, Path(place))
        return 0
    if kind == "absorber":
        from sim.acoustics.air import Air
        from sim.blueprint.build_ups import build_up_in_words
        from sim.studies.absorber.picture import draw_absorber

        draw_absorber(build_up_in_words(sources[0]), Air(), Path(place))
        return 0
    if kind == "loudspeaker":
        from sim.acoustics.air import Air
        from sim.placement.models import loudspeaker
        from sim.studies.loudspeaker.picture import draw_loudspeaker

        draw_loudspeaker(loudspeaker(*sources), Air(), Path(place))
        return 0
    if kind == "sweep":
        _sweep_pictures(Path(sources[0]), Path(sources[1]), Path(place))
        return 0
    from sim.studies.trace import pictures as drawing
    from sim.showing.archive.results import read_results

    if kind == "explanation":
        from sim.studies.explain.explanation import explain
        from sim.studies.explain.picture import draw_explanation

        folder, name, listener, number = sources
        traced = read_results(Path(folder) / ARCHIVE)
        draw_explanation(traced, explain(traced, name, listener, int(number)), Path(place))
        return 0
    results = [read_results(Path(source) / ARCHIVE) for source in sources]
    out = Path(place)
    if kind == "many":
        from sim.studies.compare.many import compare_many
        from sim.studies.compare.pareto_picture import draw_pareto

        draw_pareto(compare_many(results), out)
        return 0
    if len(results) > 1:
        together = drawing.draw_comparison_flat if kind == "flat" else drawing.draw_comparison_solid
        together(results, out, _tell)
    else:
        alone = drawing.draw_flat if kind == "flat" else drawing.draw_solid
        alone(results[0], out, _tell)
    return 0


def _sweep_pictures(folder: Path, scene_path: Path, out: Path) -> None:
    """Draw what is in a sweep's folder."""
    from sim.blueprint.reader import read_scene
    from sim.layouts.fields import find_field
    from sim.studies.sweep.findings import find_out
    from sim.layouts.plan import SweepTask
    from sim.studies.sweep.line_picture import draw_sweep_pictures
    from sim.studies.sweep.store import read_sweep

    sweep, scene = read_sweep(folder), read_scene(scene_path)
    if scene.digest != sweep.plan.scene_digest:
        sys.exit(f"{scene_path} has changed since {folder} was made, so they would not belong together: sweep it again")
    fields = [find_field(scene.blueprint, axis.field, tied=sweep.plan.tied) for axis in sweep.plan.axes]
    task = SweepTask(sweep.plan, scene.blueprint, scene.folder, tuple(fields))
    draw_sweep_pictures(sweep, task, find_out(sweep, task), out, _tell)


def _tell(words: str) -> None:
    """Pass on to the parent what is being drawn."""
    print(words, flush=True)  # noqa: T201


def _as_child(arguments: Sequence[str]) -> int:
    """Do `main` as a process that ends with the one that started it, however that ends."""
    from sim.studies.trace.pictures import TOLD

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is told, and ends us
    threading.Thread(target=_end_with_the_parent, daemon=True).start()
    try:
        return main(arguments)
    except BounceplanError as fault:
        print(fault, file=sys.stderr)  # noqa: T201
        return TOLD


def _end_with_the_parent() -> None:
    """Wait until the parent, which holds the other end of our standard input, is gone; then end at once."""
    os.read(0, 1)
    os._exit(1)


if __name__ == "__main__":
    sys.exit(_as_child(sys.argv[1:]))
