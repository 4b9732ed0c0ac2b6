"""Two or more layouts side by side: what improved, what got worse, what did not change."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sim.errors import OutputError
from sim.progress import Report
from sim.showing.child_drawing import as_child, drawn_beside
from sim.showing.folder import adding_to
from sim.showing.terminal import compile_first, output_arguments, progress, say, scenes_argument
from sim.studies.answering import draw_and_list, say_answer

if TYPE_CHECKING:
    from sim.studies.compare.comparison import Comparison

MANY: Final = 3
"""From so many layouts on there is a table with a row for each."""
MOST_SAID: Final = 8
"""Up to so many layouts each is also compared with the first; comparison.txt always does."""


def lines(comparison: Comparison) -> list[str]:
    """What the command says."""
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.text import comparison_lines, many_lines

    said = comparison_lines(comparison)
    if len(comparison.layouts) < MANY:
        return said
    many = many_lines(compare_many(comparison.layouts))
    return [*many, "", *said] if len(comparison.layouts) <= MOST_SAID else many


def write(comparison: Comparison, folder: Path, _: Report, __: bool) -> None:
    """Write each layout into a folder of its letter, and what differs."""
    from sim.showing.tables import write_traced
    from sim.showing.words import write_lines
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.text import comparison_lines, write_comparison, write_ear_comparison, write_many

    for letter, results in zip(_letters(comparison), comparison.layouts, strict=True):
        (folder / letter).mkdir()
        write_traced(results, folder / letter)
    write_lines(comparison_lines(comparison), folder / "comparison.txt")
    write_comparison(comparison, folder / "comparison.csv")
    write_ear_comparison(comparison, folder / "comparison_at_the_ear.csv")
    if len(comparison.layouts) >= MANY:
        write_many(compare_many(comparison.layouts), folder)


def draw(comparison: Comparison, place: Path, report: Report) -> str:
    """Draw all layouts, also side by side; returns why some failed, or an empty text."""
    from sim.studies.draw.drawn import draw_folders

    parts = [place / letter for letter in _letters(comparison)]
    trouble = draw_many(parts, place / "pareto.png", report) if len(parts) >= MANY else ""
    return " ".join(each for each in (trouble, draw_folders(parts, place, report)) if each)


def _letters(comparison: Comparison) -> list[str]:
    from sim.showing.words import letter_of

    return [letter_of(number) for number in range(len(comparison.layouts))]


# The command.


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

    scenes: list[Path] = chosen.scenes
    if len(scenes) == 1:
        scenes = _of_folder(scenes[0])
    compile_first()
    with results_folder(chosen.output, overwrite=chosen.replace, reads=scenes) as folder:
        comparison = compare(scenes, progress)
        write_answer(comparison, folder, report=progress)
    say_answer(comparison)
    draw_and_list(chosen, comparison)
    return 0


def _of_folder(folder: Path) -> list[Path]:
    """All scenes of a folder that share a floor plan; says what they are and what is left out."""
    from sim.blueprint.scene_folders import of_one_plan, scenes_in

    if not folder.is_dir() or len(scenes_in(folder)) < 2:
        raise OutputError(
            "compare takes 2 or more scenes and was given 1; name them in a row, or a folder that holds them."
        )
    same, others = of_one_plan(folder)
    say(f"comparing {len(same)} scenes of one floor plan: {', '.join(str(file.relative_to(folder)) for file in same)}")
    if others:
        say(f"left out, another floor plan: {', '.join(str(file.relative_to(folder)) for file in others)}")
    return list(same)


# Which of many layouts are worth a look, drawn in a process of its own.

MODULE: Final = "sim.studies.compare"


def draw_many(folders: Sequence[Path], picture: Path, report: Report) -> str:
    """Draw which of several results folders are worth a look to a file; returns why that failed, or an empty text."""
    home, sources = picture.parent, [str(folder) for folder in folders]
    with adding_to(home) as additions:
        return drawn_beside(MODULE, ["many"], additions, home, picture.name, sources, report)


def draw_here(_: str, place: Path, sources: list[str]) -> None:
    """Draw here and now."""
    from sim.showing.archive.results import NAME, read_results
    from sim.studies.compare.many import compare_many
    from sim.studies.compare.pareto_picture import draw_pareto

    draw_pareto(compare_many([read_results(Path(source) / NAME) for source in sources]), place)


def main(arguments: list[str]) -> int:
    """What the process of its own does."""
    return as_child(draw_here, arguments)
