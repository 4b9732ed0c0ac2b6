"""What a person can try in a scene: each kind of change, in a few amounts, with what it takes.

Amounts stay within what the scene allows or what is sensible where it says nothing (common practice, no source): the
limits of `sim.placement.limits`, and the steps below.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Final

from sim.blueprint.reader import SceneFile
from sim.blueprint.schema import Blueprint
from sim.blueprint.schema import Loudspeaker as LoudspeakerRecord
from sim.blueprint.units import small_words
from sim.errors import SceneError
from sim.layouts.fields import Path, find_field
from sim.layouts.values import value_of, with_value
from sim.placement.built_scene import BuiltScene
from sim.placement.stops import TILT_LIMIT_DEG
from sim.placement.supports import tilt_at_the_ear_deg
from sim.responses.records import Results
from sim.studies.advise.panel_trials import panel_settings
from sim.studies.advise.records import CARPENTRY, FREE, HOUR, MONEY, Make, Setting

TURNS_DEG: Final = (-10.0, -5.0, 5.0, 10.0)
RAISED_M: Final = (-0.10, -0.05, 0.05, 0.10, 0.20)
MOVED_M: Final = (-0.10, -0.05, 0.05, 0.10, 0.20)
SEAT_M: Final = (-0.20, -0.10, 0.10, 0.20)
CUT_M: Final = (0.10, 0.20, 0.30)
DESK_UP_M: Final = (-0.05, 0.05)
DESK_TILT_DEG: Final = (-5.0, 5.0, 10.0)
LOWERED_M: Final = (0.05, 0.10, 0.20)
ROLLED: Final = "orientation"
"""What the kinds of change that turn boxes about their axis begin with."""
SOFT_TOP: Final = "carpet on felt"
"""Stands for a thick felt or a cloth-covered mat on the whole top; its coefficients are those of the library."""


def settings_of(results: Results) -> list[Setting]:
    """Everything worth trying in a traced scene, those of one kind beside each other in order of their amounts."""
    scene, built = results.scene, results.built
    blueprint = scene.blueprint
    return [
        *_aims(scene, built),
        *_heights(blueprint),
        *_places(blueprint),
        *_rolls(blueprint, built),
        *_seats(blueprint),
        *_desks(blueprint),
        *_screens(blueprint),
        *panel_settings(results),
    ]


# The monitors.

Each = Callable[[LoudspeakerRecord, float], LoudspeakerRecord]
"""A loudspeaker changed; the number is 1 on the left of the ear, -1 on its right and 0 in the middle."""


def _for_all(each: Each) -> Make:
    def make(blueprint: Blueprint) -> Blueprint:
        ear = blueprint.listener.ear.from_left
        changed = [one if one.standing == "built in" else each(one, _side(one, ear)) for one in blueprint.loudspeakers]
        return blueprint.model_copy(update={"loudspeakers": tuple(changed)})

    return make


def _side(one: LoudspeakerRecord, ear: float) -> float:
    away = round(ear - one.acoustic_axis.from_left, 6)
    return math.copysign(1.0, away) if away else 0.0


def _aims(scene: SceneFile, built: BuiltScene) -> Iterator[Setting]:
    """Tilt to the ear and in steps, toe-in to the ear and in steps."""
    free = [number for number, one in enumerate(built.loudspeakers) if not one.built_into]
    if not free:
        return
    first = built.loudspeakers[free[0]]
    now = first.tilt_deg
    aimed = round(tilt_at_the_ear_deg(scene.blueprint, free[0], scene.folder), 1)
    wanted = sorted({aimed, round(0.5 * (aimed + now), 1), *(now + step for step in TURNS_DEG)})
    for tilt in (tilt for tilt in wanted if abs(tilt - now) >= 1.0 and abs(tilt) <= TILT_LIMIT_DEG):
        way = "down" if tilt > 0.0 else "up"
        words = f"tilt the monitors {abs(tilt):g} degrees {way}" if round(tilt, 1) else "set the monitors level"
        words += " (at the ear)" if tilt == aimed else ""
        yield Setting(
            "tilt",
            words,
            FREE,
            "use a wedge that cannot slide, and strap the monitors",
            _for_all(lambda one, _, tilt=tilt: one.model_copy(update={"tilt_deg": tilt})),  # type: ignore[misc]
        )
    for step in TURNS_DEG:
        turn = round(first.toe_in_deg + step, 1)
        words = f"turn the monitors {abs(step):g} degrees further {'in' if step > 0.0 else 'out'} (toe-in {turn:g})"
        yield Setting(
            "toe-in",
            words,
            FREE,
            "",
            _for_all(lambda one, _, turn=turn: one.model_copy(update={"toe_in_deg": turn})),  # type: ignore[misc]
        )


def _raised(one: LoudspeakerRecord, by_m: float) -> LoudspeakerRecord:
    """A loudspeaker higher with whatever carries it: pad, blocks or the stand's own height."""
    axis = one.acoustic_axis
    update: dict[str, object] = {}
    if axis.up is not None:
        update["acoustic_axis"] = axis.model_copy(update={"up": round(axis.up + by_m, 4)})
    if one.standing == "stand" and one.stand_height is not None:
        return one.model_copy(update={**update, "stand_height": round(one.stand_height + by_m, 4)})
    if one.standing in ("desk", "stand"):
        pad = round(one.pad + by_m, 4)
        if pad < 0.0:
            raise SceneError(one.name, "it already stands on its support", "raise it instead")
        update["pad"] = pad
    return one.model_copy(update=update)


def _heights(blueprint: Blueprint) -> Iterator[Setting]:
    for step in RAISED_M:
        words = f"{'raise' if step > 0.0 else 'lower'} the monitors by {small_words(abs(step), blueprint.units)}"
        yield Setting(
            "height",
            words,
            HOUR,
            "blocks or stands must not rock" if step > 0.0 else "",
            _for_all(lambda one, _, step=step: _raised(one, step)),  # type: ignore[misc]
            _axis_places(blueprint, "up"),
        )


def _axis_places(blueprint: Blueprint, key: str) -> tuple[Path, ...]:
    return tuple(("loudspeakers", number, "acoustic_axis", key) for number in range(len(blueprint.loudspeakers)))


def _shifted(one: LoudspeakerRecord, key: str, by_m: float) -> LoudspeakerRecord:
    axis = one.acoustic_axis
    moved = axis.model_copy(update={key: round(getattr(axis, key) + by_m, 4)})
    return one.model_copy(update={"acoustic_axis": moved})


def _places(blueprint: Blueprint) -> Iterator[Setting]:
    for step in MOVED_M:
        way = "toward the seat" if step > 0.0 else "toward the front wall"
        yield Setting(
            "forward or back",
            f"move the monitors {small_words(abs(step), blueprint.units)} {way}",
            FREE,
            "",
            _for_all(lambda one, _, step=step: _shifted(one, "from_front", step)),  # type: ignore[misc]
            _axis_places(blueprint, "from_front"),
        )
    for step in MOVED_M:
        yield Setting(
            "wider or closer",
            f"move each monitor {small_words(abs(step), blueprint.units)} {'out' if step > 0.0 else 'in'}",
            FREE,
            "",
            _for_all(lambda one, side, step=step: _shifted(one, "from_left", -side * step)),  # type: ignore[misc]
            _axis_places(blueprint, "from_left"),
        )


def _rolls(blueprint: Blueprint, built: BuiltScene) -> Iterator[Setting]:
    """Inverted and lying, the box on its support, each aimed at the ear."""
    if all(one.model.kind == "coaxial" or len(one.model.drivers) == 1 for one in built.loudspeakers):
        return
    for words, roll in (
        ("turn the monitors upside down", 180.0),
        ("lay the monitors down, tops outward", -90.0),
        ("lay the monitors down, tops inward", 90.0),
    ):

        def turned(one: LoudspeakerRecord, side: float, roll: float = roll) -> LoudspeakerRecord:
            axis = one.acoustic_axis
            if one.standing in ("desk", "stand"):
                axis = axis.model_copy(update={"up": None})
            rolled = (one.roll_deg + (roll if side >= 0.0 else -roll) + 180.0) % 360.0 - 180.0
            update = {"roll": rolled, "tilt_deg": "ear"}
            return one.model_copy(update={**update, "acoustic_axis": axis})

        yield Setting(
            f"{ROLLED}: {words}",
            f"{words} and aim them at the ear",
            FREE,
            "look whether feet, ports and controls allow it",
            _for_all(turned),
        )


# The seat, the desk and the screens.


def _seats(blueprint: Blueprint) -> Iterator[Setting]:
    for step in SEAT_M:
        way = "away from the front wall" if step > 0.0 else "toward the front wall"
        yield _numeric(
            blueprint, "seat", f"sit {small_words(abs(step), blueprint.units)} {way}", FREE, "", "ear.from_front", step
        )


def _numeric(
    blueprint: Blueprint, kind: str, words: str, effort: str, worse: str, name: str, step: float, carried: str = ""
) -> Setting:
    """One number of the scene more or less by a step; loudspeakers that stand on the piece `carried` rise with it."""
    field = find_field(blueprint, name)

    def make(scene: Blueprint) -> Blueprint:
        made = with_value(scene, field, value_of(scene, field) + step)
        if not carried:
            return made
        lifted = [
            _lifted(one, step) if one.standing == "desk" and one.stands_on in (None, carried) else one
            for one in made.loudspeakers
        ]
        return made.model_copy(update={"loudspeakers": tuple(lifted)})

    return Setting(kind, words, effort, worse, make, field.places)


def _lifted(one: LoudspeakerRecord, by_m: float) -> LoudspeakerRecord:
    up = one.acoustic_axis.up
    return one if up is None else _shifted(one, "up", by_m)


def _desks(blueprint: Blueprint) -> Iterator[Setting]:
    unit = blueprint.units
    for desk in (item for item in blueprint.furniture if item.worked_at):
        name = desk.name
        for step in CUT_M:
            words = f"take {small_words(step, unit)} off the far side of the {name}"
            worse = f"less room on the {name}; what stands there needs another place"
            yield _numeric(blueprint, f"{name} depth", words, CARPENTRY, worse, f"{name}.depth", -step)
        if desk.kind == "desk":
            for step in DESK_UP_M:
                words = f"{'raise' if step > 0.0 else 'lower'} the {name} by {small_words(abs(step), unit)}"
                yield _numeric(blueprint, f"{name} height", words, HOUR, "", f"{name}.height", step, name)
            if _carries(blueprint, name):
                yield Setting(f"{name} tilt", f"tilt the {name}", CARPENTRY, "", _refused(name))
            for tilt in () if _carries(blueprint, name) else DESK_TILT_DEG:
                words = f"tilt the {name} by {abs(tilt):g} degrees, far edge {'up' if tilt > 0.0 else 'down'}"
                yield _numeric(blueprint, f"{name} tilt", words, CARPENTRY, "things roll off it", f"{name}.tilt", tilt)
        yield Setting(
            f"{name} top",
            f"cover the whole top of the {name} with thick felt or carpet",
            MONEY,
            "mostly above 2 kHz; not for writing on",
            lambda scene, name=name: _with_top(scene, name),  # type: ignore[misc]
        )


def _carries(blueprint: Blueprint, name: str) -> bool:
    """Whether monitors stand on a desk."""
    return any(one.standing == "desk" and one.stands_on in (None, name) for one in blueprint.loudspeakers)


def _refused(name: str) -> Make:
    def make(_: Blueprint) -> Blueprint:
        raise SceneError(name, "the monitors stand on it and would slide", "put them on stands first")

    return make


def _with_top(scene: Blueprint, name: str) -> Blueprint:
    made = [item.model_copy(update={"material": SOFT_TOP}) if item.name == name else item for item in scene.furniture]
    return scene.model_copy(update={"furniture": tuple(made)})


def _screens(blueprint: Blueprint) -> Iterator[Setting]:
    for screen in (item for item in blueprint.furniture if item.face_line() is not None):
        for step in LOWERED_M:
            length = small_words(step, blueprint.units)
            yield _numeric(
                blueprint,
                "screen lower",
                f"lower the {screen.name} by {length}",
                FREE,
                "",
                f"{screen.name}.at.up",
                -step,
            )
        for step in LOWERED_M:
            length = small_words(step, blueprint.units)
            words = f"move the {screen.name} {length} toward the front wall"
            yield _numeric(blueprint, "screen further", words, FREE, "", f"{screen.name}.at.from_front", -step)
