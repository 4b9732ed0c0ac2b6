"""A room told by answering questions on the terminal, one length at a time, each answer checked before the next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from sim.blueprint.first_room import CORNERS, MONITORS, PLACES, SIDES
from sim.blueprint.units import UNIT_M
from sim.errors import SceneError
from sim.studies.check.new_scene import Told

Ask = Callable[[str], str]
Tell = Callable[[str], None]


def asked_room(ask: Ask, tell: Tell, units: str | None) -> tuple[Told, str]:
    """Ask for a room, and return it with the unit of its lengths.

    Parameters
    ----------
    ask
        Shows a question and returns what was typed; raises EOFError when there is nothing more.
    tell
        Says a line.
    units
        Unit that is known already; None: it is asked for.

    Raises
    ------
    SceneError
        If the answers end before the questions.
    """
    try:
        return _asked(ask, tell, units)
    except EOFError:
        raise SceneError(
            "questions",
            "the answers ended before the questions; nothing was written",
            "start again, or give the room with --box WIDTH DEPTH HEIGHT",
        ) from None


def _asked(ask: Ask, tell: Tell, units: str | None) -> tuple[Told, str]:
    tell("All lengths by tape, from wall to wall. Stand facing the wall with the monitors: that is the front wall.")
    unit = units or _choice(ask, tell, "Unit of your tape", tuple(UNIT_M), "m")

    def extend(told: Told, question: str, change: Callable[[list[str]], Told], parts: Sequence[str]) -> Told:
        """Ask for some lengths and have the room with them checked, again and again until it can be."""
        while True:
            if question:
                tell(question)
            answers = [_answer(ask, tell, part) for part in parts]
            try:
                made = change(answers)
                made.room(unit)
                return made
            except SceneError as fault:
                tell(f"  {fault} Once more:")

    told = extend(
        Told(()), "", Told, ("Width, left wall to right wall", "Depth, front to rear", "Height of the ceiling")
    )
    corner = _choice(ask, tell, "L-shape: which corner is missing", CORNERS, "")
    if corner:
        told = extend(
            told,
            "",
            lambda given: replace(told, cut_corner=(corner, *given)),
            ("  its width, left to right", "  its depth, front to rear"),
        )
    for ordinal in ("Sloped ceiling: over which wall", "A second slope: over which wall"):
        side = _choice(ask, tell, ordinal, SIDES, "")
        if not side:
            break
        told = extend(
            told,
            "",
            lambda given, before=told, side=side: replace(before, slopes=(*before.slopes, (side, *given))),  # type: ignore[misc]
            ("  height of that wall below it", "  how far from that wall the ceiling is level again"),
        )
    for kind, parts in (
        ("window", ("  along the wall, from", "  to", "  lower edge above the floor", "  upper edge")),
        ("door", ("  along the wall, from", "  to", "  its height")),
    ):
        side = _choice(ask, tell, f"A {kind}: in which wall", SIDES, "")
        if side:
            start = "the front wall" if side in ("left", "right") else "the left wall"
            told = extend(
                told,
                f"  measured along it from {start}",
                lambda given, before=told, key=f"{kind}s", side=side: replace(before, **{key: ((side, *given),)}),  # type: ignore[misc]
                parts,
            )
    told = replace(told, monitors_on=_choice(ask, tell, "Monitors stand on", PLACES, PLACES[0]))
    told = replace(told, model=_choice(ask, tell, "Size of the monitors", tuple(MONITORS), "5-inch"))
    if _choice(ask, tell, "A second seat", ("yes", "no"), "no") == "yes":
        told = extend(
            told,
            "",
            lambda given: replace(told, second_seat=tuple(given)),
            ("  its ear, from the front wall", "  from the left wall", "  above the floor"),
        )
    return told, unit


def _answer(ask: Ask, tell: Tell, question: str) -> str:
    while True:
        answer = ask(f"{question}: ").strip()
        if answer:
            return answer
        tell("  A length is needed here, such as 3.4 or 11 ft 2 in.")


def _choice(ask: Ask, tell: Tell, question: str, known: Sequence[str], usual: str) -> str:
    """One of a few words, or what Enter stands for; as many letters as tell it from the others do."""
    while True:
        answer = " ".join(ask(f"{question} ({', '.join(known)}; Enter: {usual or 'none'}): ").lower().split())
        if not answer or answer in (usual, usual or "none"):
            return usual
        fitting = [word for word in known if word == answer] or [word for word in known if word.startswith(answer)]
        if len(fitting) == 1:
            return fitting[0]
        tell(f'  "{answer}" is none of {", ".join(known)}.')
