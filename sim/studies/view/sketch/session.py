"""A session on the page: what it asks for, the steps back and forth, and the file that is written."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

from sim.blueprint.reader import SCENE_NAME
from sim.blueprint.units import UNIT_M
from sim.errors import BounceplanError, OutputError, SceneError
from sim.machine.processes import typed
from sim.machine.whole_files import refuse_name, write_whole
from sim.studies.view.sketch.draft import Draft, Made, base_of, made
from sim.studies.view.sketch.drawn import axes_above_m, drawing
from sim.studies.view.sketch.edits import (
    FARTHEST_M,
    dragged,
    in_units,
    renamed,
    reshaped,
    split,
    steps_m,
    stood,
    traced,
    with_row,
    without_row,
)
from sim.studies.view.sketch.form import LENGTHS, LONGEST_TEXT, Form, blank_form
from sim.studies.view.sketch.plan import Plan, length_m, tape_text
from sim.studies.view.state import History

FIRST_SIZES_M: Final = (3.4, 4.2, 2.4)
"""A box to begin with, until somebody types a length (our choice)."""
NOT_A_NUMBER: Final = "that is no number"


class Session:
    """One scene that is sketched, shown to all its pages by `tell`."""

    def __init__(self, path: Path, tell: Callable[[Mapping[str, Any]], None], units: str = "m") -> None:
        self.path, self.tell = path, tell
        self.expected: bytes | None = None
        self.axes_m: dict[str, float] = {}
        self.history: History[Draft] = History(self._read() if path.exists() else _new(units))
        self.now = made(self.history.now, path, self.axes_m)
        if self.now.faults and self.history.now.base is not None:
            raise BounceplanError(f"{path}: {' '.join(self.now.faults.values())} Correct it in the file first.")
        self.shown = self.now
        self.saved = self.history.now if self.history.now.base is not None else None
        self._keep(self.now)
        self._from: tuple[Form, Plan] | None = None
        self.seq: dict[str, int] = {}

    def _read(self) -> Draft:
        base = base_of(self.path)
        self.expected = base.raw
        return Draft(base.form, base)

    def _keep(self, new: Made) -> None:
        """What is shown: the newest that can be."""
        if new.built is not None:
            self.shown = new
            self.axes_m |= axes_above_m(new.built)

    def message(self) -> dict[str, Any]:
        """Everything that a page shows."""
        draft, shown = self.history.now, self.shown
        form = draft.form
        scene, built, plan, proposed = shown.scene, shown.built, shown.plan, shown.proposed
        assert scene is not None and built is not None and plan is not None and proposed is not None
        return {
            "kind": "room",
            "file": self.path.name,
            "folder": self.path.resolve().parent.name,
            "fromFile": draft.base is not None,
            "texts": dict(form.texts),
            "rows": {what: [dict(row) for row in rows] for what, rows in form.rows.items()},
            "proposed": {
                **{name: proposed[name] for name in LENGTHS},
                **{
                    f"loudspeakers.{n}.{key}": row.get(key, "")
                    for n, row in enumerate(proposed.rows["loudspeakers"])
                    for key in ("front", "left", "up", "stand")
                },
            },
            "faults": dict(self.now.faults),
            "undo": len(self.history.back),
            "redo": len(self.history.forth),
            "saved": draft == self.saved,
            "steps": list(steps_m(form["units"])),
            "unit": form["units"],
            "warnings": [*scene.warnings, *built.warnings],
            "drawing": drawing(scene.blueprint, built, plan),
            "seq": self.seq,
        }

    # What pages ask for.

    def act(self, message: Mapping[str, Any]) -> bool:
        """Do what one message asks; False where it asks for nothing that there is."""
        kind = str(message.get("kind"))
        done = getattr(self, f"_on_{kind}", None) if kind.isalpha() else None
        if done is None:
            return False
        if isinstance(message.get("seq"), int):
            self.seq[str(message.get("page", ""))[:12]] = message["seq"]
            self.seq = dict(list(self.seq.items())[-16:])
        try:
            done(message)
        except BounceplanError as fault:
            self._show()
            self.tell({"kind": "refused", "words": str(fault)})
        return True

    def _on_set(self, message: Mapping[str, Any]) -> None:
        """A text as it was typed, or a word that was chosen."""
        name = str(message.get("name", ""))
        text = str(message.get("text", ""))[:LONGEST_TEXT].strip()
        form = self.form
        if name == "shape":
            self._put(reshaped(form, text, self._plan() or self.shown.plan))
        elif name == "units":
            if self.history.now.base is not None or text not in UNIT_M:
                raise SceneError("units", "the unit of a file stays", "lengths may carry their own, such as 11 ft 2 in")
            self._put(in_units(form, text))
        elif name == "monitors_on":
            self._put(stood(form, text, self._plan(), from_file=self.history.now.base is not None))
        elif name.startswith("corners.") and name.endswith(".wall"):
            self._put(renamed(form, name, text, self._plan()))
        elif text != form.text(name):
            self._put(form.put(name, text))
        else:
            self._show()

    def _on_move(self, message: Mapping[str, Any]) -> None:
        """A corner that is dragged, or moved by keys."""
        values = message.get("values")
        if isinstance(values, Mapping) and values:
            if self._from is None:
                plan = self._plan()
                self._from = (self.form, plan) if plan is not None else None
            moves: dict[str, float] = {}
            for name, value in list(values.items())[:4]:
                if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
                    raise SceneError(str(name)[:40], NOT_A_NUMBER, "drag it, or type a length")
                moves[str(name)] = float(value)
            if self._from is None:
                raise SceneError("corners", "a length is not clear yet", "correct the marked fields, then drag")
            form = dragged(*self._from, moves, fine=bool(message.get("fine")))
            self._make(form)
            if message.get("done"):
                self._release()
            self._show()
        elif message.get("done"):
            self._release()
            self._show()

    def _release(self) -> None:
        self.history.release()
        self._from = None

    def _on_add(self, message: Mapping[str, Any]) -> None:
        self._put(with_row(self.form, str(message.get("what", "")), str(message.get("text", "")), self.shown.plan))

    def _on_remove(self, message: Mapping[str, Any]) -> None:
        self._put(without_row(self.form, str(message.get("what", "")), _number(message)))

    def _on_split(self, message: Mapping[str, Any]) -> None:
        plan = self._plan()
        if plan is None:
            raise SceneError("corners", "a length is not clear yet", "correct the marked fields first")
        self._put(split(self.form, plan, _number(message)))

    def _on_trace(self, message: Mapping[str, Any]) -> None:
        """Corners clicked over a picture, in metres; of the picture itself nothing comes here."""
        corners = message.get("corners")
        found = []
        for corner in corners if isinstance(corners, list) else []:
            pair: list[Any] = corner if isinstance(corner, list) and len(corner) == 2 else [None, None]
            if not all(isinstance(one, int | float) and abs(one) < FARTHEST_M for one in pair):
                raise SceneError("corners", NOT_A_NUMBER, "click the corners again")
            found.append((float(pair[0]), float(pair[1])))
        self._put(traced(self.form, found))

    def _on_length(self, message: Mapping[str, Any]) -> None:
        """Read a length that is no field of the scene, for the page: the distance between two points of a picture."""
        text = str(message.get("text", ""))[:LONGEST_TEXT]
        answer: dict[str, Any] = {"kind": "length", "of": str(message.get("of", ""))[:40]}
        try:
            metres = length_m("distance", text, self.form["units"])
            if metres < 0.01:
                raise SceneError("distance", f'"{text}" is too short for a scale', "measure two points far apart")
            answer["metres"] = metres
        except SceneError as fault:
            answer["fault"] = f"{fault.found}; {fault.remedy}."
        self.tell(answer)

    def _on_undo(self, _: Mapping[str, Any]) -> None:
        self._from = None
        if self.history.undo():
            self._again()

    def _on_redo(self, _: Mapping[str, Any]) -> None:
        self._from = None
        if self.history.redo():
            self._again()

    def _on_read(self, _: Mapping[str, Any]) -> None:
        """Read the file again; what was here is one step back."""
        self.history.put(self._read())
        self.saved = self.history.now
        self._again()

    def _on_save(self, message: Mapping[str, Any]) -> None:
        """Write the file; under another name where one is given."""
        if self.now.faults:
            count = len(self.now.faults)
            raise OutputError(
                f"Nothing was written: {'a field is' if count == 1 else f'{count} fields are'} not right yet; "
                "correct what is marked."
            )
        path, other = self.path, str(message.get("name", "")).strip()
        if other:
            path = _beside(self.path, other)
            if path.exists():
                raise OutputError(f"{path.name} is there already; give another name.")
        else:
            there = path.read_bytes() if path.exists() else None
            if there != self.expected:
                raise OutputError(
                    f"{path.name} was changed by other hands since it was read here; "
                    "read it again, or write under another name."
                )
        refuse_name(path.parent)
        write_whole(path, self.now.content, "the scene", make_folder=True)
        if not other:
            self.expected, self.saved = self.now.content, self.history.now
        command = typed("bounceplan", "check", path.parent if path.name == SCENE_NAME else path)
        self.tell({"kind": "saved", "words": f"Wrote {path.name}. Next, in the terminal: {command}"})
        self._show()

    # What follows.

    @property
    def form(self) -> Form:
        """The form as it stands."""
        return self.history.now.form

    def _plan(self) -> Plan | None:
        """The floor of the form as it stands; None where it makes none."""
        return self.now.plan

    def _make(self, form: Form) -> None:
        self.history.drag(Draft(form, self.history.now.base))
        self.now = made(self.history.now, self.path, self.axes_m)
        self._keep(self.now)

    def _put(self, form: Form) -> None:
        self._release()
        self._make(form)
        self._release()
        self._show()

    def _again(self) -> None:
        self.now = made(self.history.now, self.path, self.axes_m)
        self._keep(self.now)
        self._show()

    def _show(self) -> None:
        self.tell(self.message())


def _new(units: str) -> Draft:
    width, depth, height = (tape_text(round(size, 4), units) for size in FIRST_SIZES_M)
    if units in ("in", "ft"):
        feet = {"in": ("132 in", "168 in", "96 in"), "ft": ("11 ft", "14 ft", "8 ft")}
        width, depth, height = feet[units]
    return Draft(blank_form(units, (width, depth, height), ""))


def _number(message: Mapping[str, Any]) -> int:
    number = message.get("number")
    return number if isinstance(number, int) and not isinstance(number, bool) else -1


def _beside(path: Path, name: str) -> Path:
    from sim.studies.view.keeping import NAME

    plain = name.removesuffix(".toml").strip()
    if not NAME.fullmatch(plain) or plain.endswith("."):
        raise OutputError(f'"{plain[:40]}" is no plain file name; use letters, digits, blanks, "-" and "_".')
    return path.parent / f"{plain}.toml"
