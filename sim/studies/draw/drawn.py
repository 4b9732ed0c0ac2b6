"""The pictures of results folders, drawn in a process of its own and moved in when they are whole."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Final

from sim.errors import OutputError, PictureError
from sim.progress import Report, say_nothing
from sim.showing.archive.results import NAME, read_results
from sim.showing.child_drawing import as_child, drawn_beside, tell
from sim.showing.folder import adding_to

MODULE: Final = "sim.studies.draw.drawn"
MOST_SIDE_BY_SIDE: Final = 8
"""More rooms or curves than this in one picture are no longer told apart."""


def draw_folders(folders: Sequence[Path], out: Path, report: Report, octaves: bool = False) -> str:
    """Draw all pictures of results folders; the first eight of several are also drawn side by side into `out`.

    Flat ones and 3D ones at the same time.  `octaves` adds the maps octave by octave.  Returns an empty text, or the
    sentence that says why the 3D pictures are missing.
    """
    jobs: list[tuple[Path, Sequence[Path]]] = [(out, folders[:MOST_SIDE_BY_SIDE])]
    if len(folders) > 1:
        jobs = [*((folder, [folder]) for folder in folders), *jobs]
    homes = _outermost([place for place, _ in jobs])
    with ExitStack() as stack:
        additions = {home: stack.enter_context(adding_to(home)) for home in homes}
        trouble = ""
        for place, sources in jobs:
            kinds = ["flat", *(["octaves"] if octaves and len(sources) == 1 else []), *([] if trouble else ["solid"])]
            home = next(home for home in homes if _is_in(place, home))
            names = [str(source) for source in sources]
            missing = drawn_beside(MODULE, kinds, additions[home], place, "", names, report)
            trouble = trouble or missing
    return trouble


def draw(
    folders: Path | str | Sequence[Path | str],
    out: Path | str | None = None,
    report: Report = say_nothing,
    *,
    octaves: bool = False,
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
    octaves
        Draw the maps octave by octave too.

    Raises
    ------
    OutputError
        If a folder holds no results, or `out` cannot be made.
    PictureError
        If they cannot be drawn on this machine.
    """
    sources = [Path(each) for each in ([folders] if isinstance(folders, Path | str) else folders)]
    for folder in sources:
        if not (folder / NAME).is_file():
            raise OutputError(f"{folder} holds no {NAME}; name a folder that bounceplan trace has written.")
    place = Path(out) if out is not None else sources[0]
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise OutputError(f"{place}: no folder can be made here ({fault.strerror}); choose another with -o.") from None
    trouble = draw_folders(sources, place, report, octaves)
    if trouble:
        raise PictureError(trouble)
    return place


def _outermost(places: Sequence[Path]) -> list[Path]:
    """Folders that lie in no other of them, each once."""
    different = list({place.resolve(): place for place in places}.values())
    return [place for place in different if not any(_is_in(place, home) for home in different if home is not place)]


def _is_in(place: Path, home: Path) -> bool:
    return place.resolve().is_relative_to(home.resolve())


def draw_here(kind: str, place: Path, sources: list[str]) -> None:
    """Draw the flat pictures or the solid ones of results folders, here and now; may kill the process."""
    from sim.studies.draw import pictures

    results = [read_results(Path(source) / NAME) for source in sources]
    if len(results) > 1:
        together = pictures.draw_comparison_flat if kind == "flat" else pictures.draw_comparison_solid
        together(results, place, tell)
    else:
        alone = {"flat": pictures.draw_flat, "octaves": pictures.draw_octaves, "solid": pictures.draw_solid}
        alone[kind](results[0], place, tell)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
