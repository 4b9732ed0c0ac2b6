"""Begin a scene by questions on the terminal, and go on where an earlier run was stopped."""

from __future__ import annotations

from pathlib import Path

from sim.errors import OutputError
from sim.machine.processes import typed
from sim.showing.terminal import compile_first
from sim.studies.check.new_scene import built_text, start_scene
from sim.surveying.tape.asking import Ask, Interview, Tell
from sim.surveying.tape.given_room import GivenRoom
from sim.surveying.tape.kept_answers import answers_place, forget_answers, keep_answers, kept_answers
from sim.surveying.tape.questions import asked_room


def asked_scene(folder: Path, ask: Ask, tell: Tell, *, units: str | None = None, title: str = "") -> Path:
    """Ask for a room, write its scene into a new or empty folder, and return the path.

    Answers are kept beside the folder after each question, until the scene is written.

    Parameters
    ----------
    folder
        Where to.
    ask
        Shows a question and returns what was typed; raises EOFError when there is nothing more.
    tell
        Says a line.
    units
        m, cm, mm, in or ft, so that this is not asked.
    title
        What the room is called; left out, as the folder.

    Raises
    ------
    SceneError
        If the answers end before the questions.
    OutputError
        If nothing can be written there, or kept answers cannot be read.
    """
    place = answers_place(folder)
    kept = _to_go_on_with(place, ask, tell)
    interview = Interview(ask, tell, lambda answers: keep_answers(place, answers), kept or ([units] if units else []))

    def check(given: GivenRoom, unit: str) -> None:
        compile_first("rooms")
        built_text(folder, given, units=unit, title=title)

    try:
        given, unit = asked_room(interview, check)
    except KeyboardInterrupt:
        if interview.answers:
            tell(f"\nYour answers are kept. To go on: {typed('bounceplan', 'new', folder)}")
        raise
    path = start_scene(folder, given, units=unit, title=title)
    forget_answers(place)
    tell(f"the same without questions: {typed('bounceplan', 'new', folder, *given.options(unit))}")
    return path


def _to_go_on_with(place: Path, ask: Ask, tell: Tell) -> list[str]:
    """Answers of an earlier run, if the person wants to go on with them."""
    try:
        kept = kept_answers(place)
    except OutputError as fault:
        tell(f"{fault}")
        return []
    if not kept:
        return []
    shown = ", ".join(answer or "Enter" for answer in kept[:6]) + ", ..." * (len(kept) > 6)
    while True:
        answer = ask(
            f"{len(kept)} answers of an earlier run are kept ({shown}). Go on with them (yes, no; Enter: yes): "
        )
        answer = answer.strip().lower()
        if answer in ("", "y", "yes"):
            return kept
        if answer in ("n", "no"):
            return []
        tell('  "yes" goes on where you were; "no" begins anew, and the kept answers go with your first one.')
