"""Advice in words, as a table, and as scenes that other commands take."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sim.blueprint.reader import SCENE_NAME
from sim.blueprint.writing import copy_named_files, to_toml
from sim.errors import OutputError
from sim.machine.whole_files import write_whole
from sim.responses.measure import SAME_DB, component_words
from sim.showing.numbers import write_table
from sim.showing.words import wrapped
from sim.studies.advise.records import Advice, Line, Setting, changed_scene

CUT = 78
"""Letters of a line on the screen."""
FIRST, TOGETHER = "first", "together"
"""Folders of the advised layouts."""
TRIED = (
    "Tried, as far as the scene's own limits let it: turns of 10 degrees, moves of 20 cm, the seat by 20 cm, the desk "
    "5 cm up or down, 10 degrees of tilt, 30 cm cut off, a soft top, screens 20 cm lower or further, three pairs of "
    "panels, a cloud (common practice, no source). Every amount was traced with mirrors alone, the best in full."
)


SCREEN_ROWS = 9
"""Lines of what is better on the screen; advice.txt has all."""


def screen_lines(advice: Advice) -> list[str]:
    """Return what fits one screen: what to do first, the best together, what helps; the rest by name."""
    lines = wrapped(advice.headline())
    lines += [f"STOP, settle first: {words}" for words in advice.now.hindrances]
    if advice.together is not None:
        one = advice.together
        lines += ["", *wrapped(f"Best together ({one.effort}): {one.words}.")]
    better = [one for one in advice.lines if one.verdict == "better"]
    if better:
        lines += ["", f"What helps, least effort first (measure now {advice.now.total_db:.1f} dB, less is better)"]
        lines += [f"  {one.gain_db:+5.1f} dB  {one.effort:9}  {_cut(one.words)}" for one in better[:SCREEN_ROWS]]
    if len(better) > SCREEN_ROWS:
        lines.append(f"  and {len(better) - SCREEN_ROWS} more")
    rest = [
        (f"The same (less than {SAME_DB:g} dB)", [one.kind for one in advice.lines if one.verdict == "the same"]),
        ("Worse in every amount tried", [one.kind for one in advice.lines if one.verdict == "worse"]),
        ("Cannot be here", [kind for kind, _ in advice.impossible]),
    ]
    lines += ["", *(line for words, kinds in rest if kinds for line in wrapped(f"{words}: {', '.join(kinds)}."))]
    lines += wrapped("What each makes worse and how sure it is: advice.txt. Where panels go exactly: bounceplan treat.")
    return lines


def _cut(words: str) -> str:
    return words if len(words) <= CUT else f"{words[: CUT - 4].rstrip()} ..."


def advice_lines(advice: Advice) -> list[str]:
    """Return the lines of advice.txt: what to do first, then everything that was tried."""
    lines = wrapped(advice.headline())
    lines += ["", *(f"STOP, settle first: {words}" for words in advice.now.hindrances)]
    lines += ["As it stands", *(f"  {words}" for words in component_words(advice.now))]
    if advice.together is not None:
        one = advice.together
        lines += ["", *wrapped(f"Together ({one.effort}): {one.words}.")]
        lines += [f"  {words}" for words in component_words(one.measure)]
        lines += _costs(one)
    for verdict, heading in (
        ("better", "Better"),
        ("the same", f"The same (less than {SAME_DB:g} dB, which the physics does not tell apart)"),
        ("worse", "Worse, in every amount tried"),
    ):
        mine = [one for one in advice.lines if one.verdict == verdict]
        if not mine:
            continue
        lines += ["", heading]
        for one in mine:
            lines += _one(one) if verdict == "better" else [f"  {one.gain_db:+5.1f} dB  {one.effort:9}  {one.words}"]
    if advice.impossible:
        lines += ["", "Cannot be here"]
        for kind, reason in advice.impossible:
            lines += wrapped(f"{kind}: {reason}", "  ")
    lines += ["", *wrapped(TRIED)]
    lines += ["", *wrapped("Where exactly panels go, and what they weigh: bounceplan treat. Bass is not judged.")]
    return lines


def _one(one: Line) -> list[str]:
    lines = wrapped(f"{one.gain_db:+5.1f} dB  {one.effort:9}  {one.words}", "  ")
    return [*lines, f"{'':22}how sure: {one.sure}", *_costs(one)]


def _costs(one: Line) -> list[str]:
    return [line for words in one.worse for line in wrapped(f"gets worse: {words}", " " * 22)]


def write_advice(advice: Advice, path: Path) -> None:
    """Write advice.csv: the scene as it stands, a row each line, the best together last.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    rows = advice.rows()
    table = [[f"{value:.2f}" if isinstance(value, float) else str(value) for value in row.values()] for row in rows]
    write_table(path, list(rows[0]), table)


def write_advised_scenes(advice: Advice, folder: Path) -> None:
    """Write the first change, and the best together, as scenes in folders of their own with the files they name.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    for name, line in ((FIRST, advice.first), (TOGETHER, advice.together)):
        if line is not None:
            _write_scene(advice, line.settings, line.words, folder / name)


def _write_scene(advice: Advice, settings: Sequence[Setting], words: str, home: Path) -> None:
    blueprint = changed_scene(advice.scene, settings).blueprint
    own = {panel.name for panel in advice.scene.blueprint.panels}
    # nobody has said yet how a panel overhead is fixed: whoever opens this scene is stopped until they do
    panels = tuple(p if p.name in own else p.model_copy(update={"fixings": ""}) for p in blueprint.panels)
    blueprint = blueprint.model_copy(update={"panels": panels})
    blueprint = blueprint.model_copy(
        update={
            "title": f"{blueprint.title}: {home.name}",
            "notes": (*blueprint.notes, f"Advised: {words}."),
        }
    )
    blueprint.model_fields_set.update(blueprint.model_fields_set | {"title", "notes", "panels"})
    try:
        home.mkdir()
        copy_named_files(blueprint, advice.scene.folder, home)
    except OSError as fault:
        raise OutputError(f"{home} cannot be written ({fault.strerror}); choose another folder with -o.") from None
    write_whole(home / SCENE_NAME, to_toml(blueprint), "the scene")
