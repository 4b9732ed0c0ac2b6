"""What a person can try in a scene: each kind of change, in a few amounts, with what it takes.

Amounts stay within what the scene allows or what is sensible where it says nothing (common practice, no source): the
limits of `sim.placement.limits`, and the steps below.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from sim.answers import printable
from sim.blueprint.checks import refuse_what_cannot_be
from sim.blueprint.reader import SceneFile, made_scene
from sim.blueprint.schema import Blueprint
from sim.blueprint.schema import Loudspeaker as LoudspeakerRecord
from sim.blueprint.toml_text import Locations
from sim.blueprint.treatment import Panel
from sim.blueprint.units import small_words
from sim.errors import SceneError
from sim.layouts.fields import Path, find_field
from sim.layouts.values import value_of, with_value
from sim.placement.stage import Stage
from sim.placement.stops import TILT_LIMIT_DEG
from sim.responses.arrivals import in_window
from sim.responses.records import Arrival, Results

FREE, HOUR, MONEY, CARPENTRY = "free", "an hour", "money", "carpentry"
EFFORTS: Final = (FREE, HOUR, MONEY, CARPENTRY)
"""What a change takes, the least first."""
TURNS_DEG: Final = (-10.0, -5.0, 5.0, 10.0)
RAISED_M: Final = (-0.10, -0.05, 0.05, 0.10, 0.20)
MOVED_M: Final = (-0.10, -0.05, 0.05, 0.10, 0.20)
SEAT_M: Final = (-0.20, -0.10, 0.10, 0.20)
CUT_M: Final = (0.10, 0.20, 0.30)
DESK_UP_M: Final = (-0.05, 0.05)
DESK_TILT_DEG: Final = (-5.0, 5.0, 10.0)
LOWERED_M: Final = (0.05, 0.10, 0.20)
PAIRS: Final = (1, 2, 3)
CLOUD_M: Final = (-0.40, -0.20, 0.0, 0.20)
"""How far a cloud may lie off the reflection points where a lamp or a beam is in its place."""
SOFT_TOP: Final = "carpet on felt"
"""Stands for a thick felt or a cloth-covered mat on the whole top; its coefficients are those of the library."""

Make = Callable[[Blueprint], Blueprint]


@printable
@dataclass(frozen=True, slots=True)
class Setting:
    """One amount of one kind of change.

    Attributes
    ----------
    kind
        "tilt", "height", "desk depth" and so on; settings of one kind exclude each other.
    words
        What to do, as an instruction.
    effort
        "free", "an hour", "money" or "carpentry".
    worse
        What else it costs, in words; often empty.
    make
        The scene with it; amounts are against the scene as it stands.
    moved
        Places in the scene of the numbers that it changes.
    """

    kind: str
    words: str
    effort: str
    worse: str
    make: Make
    moved: tuple[Path, ...] = ()


def changed_scene(scene: SceneFile, settings: Sequence[Setting]) -> SceneFile:
    """A scene with settings made one after the other.

    Raises
    ------
    SceneError
        If it cannot be.
    """
    blueprint = scene.blueprint
    for setting in settings:
        blueprint = setting.make(blueprint)
    refuse_what_cannot_be(blueprint, scene.folder, Locations(scene.path.name, {}))
    return made_scene(blueprint, scene.folder, scene.path)


def settings_of(results: Results) -> list[Setting]:
    """Everything worth trying in a traced scene, those of one kind beside each other in order of their amounts."""
    scene, stage = results.scene, results.stage
    blueprint = scene.blueprint
    return [
        *_aims(stage),
        *_heights(blueprint),
        *_places(blueprint),
        *_rolls(blueprint, stage),
        *_seats(blueprint),
        *_desks(blueprint),
        *_screens(blueprint),
        *_panels(results),
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


def _aims(stage: Stage) -> Iterator[Setting]:
    """Tilt to the ear and in steps, toe-in to the ear and in steps."""
    free = [one for one in stage.loudspeakers if not one.built_into]
    if not free:
        return
    first, ear = free[0], stage.ears[0]
    now = first.tilt_deg
    flat = math.hypot(ear[0] - first.axis_point[0], ear[1] - first.axis_point[1])
    aimed = round(-math.degrees(math.atan2(ear[2] - first.axis_point[2], flat)), 1)
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


def _rolls(blueprint: Blueprint, stage: Stage) -> Iterator[Setting]:
    """Inverted and lying, the box on its support, each aimed at the ear: judged at its own best aim."""
    if all(one.model.kind == "coaxial" or len(one.model.drivers) == 1 for one in stage.loudspeakers):
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
            f"orientation: {words}",
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
            for tilt in DESK_TILT_DEG:
                words = f"tilt the {name} by {abs(tilt):g} degrees, far edge {'up' if tilt > 0.0 else 'down'}"
                yield _numeric(blueprint, f"{name} tilt", words, CARPENTRY, "things roll off it", f"{name}.tilt", tilt)
        yield Setting(
            f"{name} top",
            f"cover the whole top of the {name} with thick felt or carpet",
            MONEY,
            "mostly above 2 kHz; not for writing on",
            lambda scene, name=name: _with_top(scene, name),  # type: ignore[misc]
        )


def _with_top(scene: Blueprint, name: str) -> Blueprint:
    made = [item.model_copy(update={"material": SOFT_TOP}) if item.name == name else item for item in scene.furniture]
    return scene.model_copy(update={"furniture": tuple(made)})


def _screens(blueprint: Blueprint) -> Iterator[Setting]:
    for screen in (item for item in blueprint.furniture if item.kind == "screen"):
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


# Panels at the reflection points: first the reflections that harm most.


def _panels(results: Results) -> Iterator[Setting]:
    """One, two and three pairs on the walls, and a cloud; where exactly, `treat` works out."""
    blueprint, stage = results.scene.blueprint, results.stage
    surfaces = {opening.name: opening.surface for opening in blueprint.openings}
    walls: dict[str, list[Panel]] = {}
    cloud: list[Panel] = []
    target, ear = blueprint.target, stage.listener_names[0]
    listed = [a for a in results.responses.arrivals if a.listener == ear and a.order == 1 and not a.diffracted]
    for arrival in sorted(listed, key=lambda one: -one.worst_db):
        facet = next((f for f in stage.room.facets if f.name == arrival.surfaces[0]), None)
        if facet is None or facet.owner != stage.room.owners[0] or not in_window(arrival, target):
            continue
        surface = surfaces.get(facet.name, facet.name)
        across = [axis for axis in range(3) if abs(facet.normal[axis]) < 0.5]
        if len(across) != 2 or facet.normal[2] > 0.5 or surface in blueprint.treatment.leave_bare:
            continue  # slopes are left to `treat`, and the floor to people
        panel = _panel_at(blueprint, arrival, surface, across)
        if facet.normal[2] < -0.5:
            cloud.append(panel)
        else:
            walls.setdefault(f"{arrival.main.delay_ms:.1f}", []).append(panel)
    pairs = [found for found in walls.values() if found]
    most = blueprint.treatment.panels
    for number in (n for n in PAIRS if n <= len(pairs)):
        chosen = _apart(tuple(panel for pair in pairs[:number] for panel in pair))
        if most is not None and len(chosen) > most:
            break
        names = ", ".join(dict.fromkeys(panel.surface for panel in chosen))
        words = f"{len(chosen)} panels of {chosen[0].material} at the reflection points: {names}"
        yield Setting(f"panels: {number} {'pair' if number == 1 else 'pairs'}", words, MONEY, "", _with_panels(chosen))
    if cloud:
        chosen = _apart(tuple(cloud[:2]))
        words = f"a cloud of {len(chosen)} panels of {chosen[0].material} at the reflection points"
        worse = "overhead: rated fixings and a second tether, two people; nothing may hang over heads by glue"
        for step in CLOUD_M:
            moved = tuple(_slid(panel, "from_front", step) for panel in chosen)
            away = f", {small_words(abs(step), blueprint.units)} {'behind' if step > 0.0 else 'before'} them" * bool(
                step
            )
            yield Setting("cloud", words + away, CARPENTRY, worse, _with_panels(moved))


def _panel_at(blueprint: Blueprint, arrival: Arrival, surface: str, across: Sequence[int]) -> Panel:
    stock = blueprint.treatment.stock[0]
    sides = sorted(stock.size)
    point = arrival.main.points[0]
    keys = ("from_front", "from_left", "up")
    sizes = sides if 2 in across else [sides[1], sides[0]]
    spans = {
        keys[axis]: (round(float(point[axis]) - 0.5 * size, 3), round(float(point[axis]) + 0.5 * size, 3))
        for axis, size in zip(across, sizes, strict=True)
    }
    overhead = 2 not in across
    drilled = not {surface, "all"} & set(blueprint.treatment.no_drilling)
    return Panel(
        name=f"{arrival.loudspeaker} {surface} panel",
        surface=surface,
        material=stock.material,
        gap=blueprint.treatment.cloud_gap if overhead else blueprint.treatment.wall_gap,
        movable=not overhead and blueprint.treatment.movable,
        held_by="surface" if drilled else "posts" if overhead else "stand",
        fixings="rated fixings into structure and a second tether" if overhead else "",
        price=stock.price,
        mass_kg=stock.mass_kg,
        **spans,
    )


def _apart(panels: Sequence[Panel]) -> tuple[Panel, ...]:
    """Panels of one surface that would overlap are pushed apart across, so that they touch."""
    made: list[Panel] = []
    for panel in panels:
        for other in made:
            if other.surface != panel.surface:
                continue
            key = "from_left" if panel.from_left is not None else "from_front"
            spans = [getattr(one, key) for one in (other, panel)]
            over = min(span[1] for span in spans) - max(span[0] for span in spans)
            if over > 0.0:
                sign = 1.0 if sum(spans[1]) >= sum(spans[0]) else -1.0
                step = sign * 0.5 * (over + 0.002)
                made[made.index(other)] = _slid(other, key, -step)
                panel = _slid(panel, key, step)
        made.append(panel)
    return tuple(made)


def _slid(panel: Panel, key: str, by_m: float) -> Panel:
    low, high = getattr(panel, key)
    return panel.model_copy(update={key: (round(low + by_m, 3), round(high + by_m, 3))})


def _with_panels(panels: Sequence[Panel]) -> Make:
    return lambda scene: scene.model_copy(update={"panels": (*scene.panels, *panels)})
