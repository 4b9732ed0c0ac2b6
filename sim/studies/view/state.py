"""Where everything stands: a scene file, the numbers that differ from it, and the steps back and forth between."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Generic, TypeVar

from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.reader import SceneFile
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Locations, scene_text
from sim.blueprint.units import UNIT_M, is_imperial
from sim.errors import SceneError
from sim.layouts.changes import change
from sim.layouts.fields import Field, find_field
from sim.layouts.values import with_value
from sim.studies.view.carried import Value, number_in, with_all_that_follows
from sim.studies.view.edits import Edits, edited

AIMED: Final = "ear"
STEPS: Final = {"length": (0.005, 0.001), "degrees": (0.5, 0.1), "number": (0.01, 0.001)}
INCH_STEPS_M: Final = (UNIT_M["in"] / 4.0, UNIT_M["in"] / 16.0)
DIGITS: Final = 6
"""Decimals of metres and degrees that are kept: a micrometre."""


@dataclass(frozen=True, slots=True)
class Base:
    """A scene file as it was read.

    Attributes
    ----------
    scene
        What it says.
    raw
        The file itself.
    """

    scene: SceneFile
    raw: bytes

    @property
    def text(self) -> str:
        """The file as text."""
        return self.raw.decode("utf-8-sig", "replace")


def base_of(scene: SceneFile) -> Base:
    """Take a scene with its file.

    Raises
    ------
    SceneError
        If the file cannot be read.
    """
    scene_text(scene.path)  # says what is wrong with it
    return Base(scene, scene.path.read_bytes())


@dataclass(frozen=True, slots=True)
class State:
    """One setting: a scene file and what differs from it.

    Attributes
    ----------
    base
        The file.
    values
        Names of fields, each of one thing alone, and their values.
    edits
        Panels that were hung or taken away.
    """

    base: Base
    values: Mapping[str, Value] = field(default_factory=dict)
    edits: Edits = field(default_factory=Edits)
    _made: list[SceneFile] = field(default_factory=list, repr=False, compare=False)
    _ground: list[SceneFile] = field(default_factory=list, repr=False, compare=False)

    @property
    def scene(self) -> SceneFile:
        """The scene in this setting, with the digest of the file it began with.

        Raises
        ------
        SceneError
            If it cannot be, whatever is built of it.
        """
        if not self._made:
            self._made.append(self._laid_out())
        return self._made[0]

    @property
    def ground(self) -> SceneFile:
        """The scene with its panels as they hang, every number as it began."""
        if not self._ground:
            self._ground.append(edited(self.base.scene, self.edits))
        return self._ground[0]

    def _laid_out(self) -> SceneFile:
        if not self.values and not self.edits:
            return self.base.scene
        read = self.ground
        blueprint = read.blueprint
        for name, value in self.values.items():
            blueprint = _laid(read, blueprint, name, value)
        refuse_what_cannot_be(blueprint, read.folder, Locations(read.path.name, {}))
        return replace(read, blueprint=blueprint)

    def moved(self, wanted: Mapping[str, Value], *, alone: bool = False) -> State:
        """Return the setting with other values and with what follows them; partners stay where they are if `alone`.

        Raises
        ------
        SceneError
            If there is no such field, or a value cannot be there.
        """
        blueprint = self.scene.blueprint
        values = dict(self.values)
        for one, new in with_all_that_follows(blueprint, wanted, alone=alone).items():
            values.pop(one, None)
            values[one] = new if isinstance(new, str) else round(new, DIGITS)
        kept = {name: value for name, value in values.items() if value != value_in(self.ground.blueprint, name)}
        return State(self.base, kept, self.edits, _ground=self._ground)

    def with_edits(self, edits: Edits) -> State:
        """Return the setting with other panels; numbers of those that are gone go with them."""
        gone = {one.name for one in self.scene.blueprint.panels} - {
            one.name for one in edited(self.base.scene, edits).blueprint.panels
        }
        left = {
            name: value for name, value in self.values.items() if not any(name.startswith(f"{one}.") for one in gone)
        }
        return State(self.base, left, edits)


def _laid(read: SceneFile, blueprint: Blueprint, name: str, value: Value) -> Blueprint:
    if isinstance(value, str):
        changed: Blueprint = change(replace(read, blueprint=blueprint), {_long(name): value}).blueprint
        return changed
    return with_value(blueprint, find_field(blueprint, name, tied=False), value)


def _long(name: str) -> str:
    """The key of the file behind the short word for an angle."""
    return f"{name}_deg" if name.endswith((".tilt", ".toe_in")) else name


def value_in(blueprint: Blueprint, name: str) -> Value:
    """Value of a field: a number, or "ear" where it follows the ear."""
    number = number_in(blueprint, name)
    return AIMED if math.isnan(number) and name.endswith((".tilt", ".toe_in")) else number


# Values as hands give them: on marks of the tape and half degrees, so that what is computed can be measured again.


def snapped(kind: Field, value: float, units: str, *, fine: bool) -> float:
    """Round a dragged value: to 5 mm or a quarter inch and half degrees, `fine` to 1 mm or a sixteenth and tenths."""
    coarse, small = INCH_STEPS_M if kind.kind == "length" and is_imperial(units) else STEPS[kind.kind]
    step = small if fine else coarse
    return round(round(value / step) * step, DIGITS) + 0.0


def held_field(blueprint: Blueprint, name: str) -> Field:
    """A field of one thing alone as hands and keys move it: how thick the wool of a panel is counts as a length.

    Raises
    ------
    SceneError
        If there is no such field.
    """
    held = find_field(blueprint, name, tied=False)
    return replace(held, kind="length") if held.rules[0] == "layer" else held


def step_of(kind: str, units: str, *, fine: bool) -> float:
    """One step of a field of a kind, in metres, degrees or as it is."""
    coarse, small = INCH_STEPS_M if kind == "length" and is_imperial(units) else STEPS[kind]
    return small if fine else coarse


MOST_STEPS_BACK: Final = 200
Setting = TypeVar("Setting")


@dataclass(slots=True)
class History(Generic[Setting]):
    """Steps back and forth: one for each drag that was let go, value that was typed, and file that was read.

    Attributes
    ----------
    now
        Where everything stands.
    back, forth
        Earlier settings, the last one last; those that were undone, the next one last.
    held
        The setting when the drag under way began, or None.
    """

    now: Setting
    back: list[Setting] = field(default_factory=list)
    forth: list[Setting] = field(default_factory=list)
    held: Setting | None = None

    def drag(self, state: Setting) -> None:
        """Take a setting of a drag that goes on."""
        if self.held is None:
            self.held = self.now
        self.now = state

    def release(self) -> None:
        """Let go: the whole drag is one step."""
        if self.held is not None and self.held != self.now:
            self.back.append(self.held)
            del self.back[:-MOST_STEPS_BACK]
            self.forth.clear()
        self.held = None

    def put(self, state: Setting) -> None:
        """Take a setting that is a step by itself."""
        self.release()
        self.drag(state)
        self.release()

    def undo(self) -> bool:
        """Go one step back; False where there is none."""
        self.release()
        if not self.back:
            return False
        self.forth.append(self.now)
        self.now = self.back.pop()
        return True

    def redo(self) -> bool:
        """Go one step forth; False where there is none."""
        self.release()
        if not self.forth:
            return False
        self.back.append(self.now)
        self.now = self.forth.pop()
        return True


def refused_by(fault: SceneError, names: list[str]) -> list[str]:
    """Which of these things a complaint names, the longest names first; they are what is outlined."""
    words = f"{fault.where} {fault.found}"
    found = []
    for name in sorted(names, key=len, reverse=True):
        if name in words:
            found.append(name)
            words = words.replace(name, "")
    return found
