"""What is not known exactly about a scene: tape readings, placing, the head, materials, loudspeakers off their axis.

How large each doubt is taken, where no source is named, is common practice, no source:

- tape: a standard deviation of 5 mm on the place of ear, loudspeakers, edges of furniture and walls;
- placement: each loudspeaker up to the scene's `placement_error` off along each direction, evenly spread;
- head: anywhere in the scene's head box, evenly;
- material: every absorption coefficient of a material up to 0.05 or 20 % off, whichever is more, all octaves together
  (random-incidence coefficients of one product differ by as much between laboratories); a flow resistivity anywhere in
  the range of its material in the library, or up to a factor of two off when it is told as a number;
- directivity: a driver's level off its axis up to 2 dB off at 90 degrees, in proportion to the angle, the same for all
  loudspeakers of one model.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from sim.answers import printable
from sim.blueprint.furniture import Furniture
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene
from sim.placement.supports import covers

Path = tuple[str | int, ...]

TAPE_M: Final = 0.005
NAMES: Final = {
    "from_front": "distance from the front wall",
    "from_left": "distance from the left wall",
    "up": "height",
}
PLACED: Final = {"from_front": "depth", "from_left": "sideways", "up": "height"}
KINDS: Final = ("tape", "placement", "head", "material", "directivity")


@printable
@dataclass(frozen=True, slots=True)
class Uncertainty:
    """One number that is not known exactly.

    Attributes
    ----------
    name
        Short, such as "desk.listener_edge".
    words
        For people: "the listener-side edge of the desk".
    kind
        "tape", "placement", "head", "material" or "directivity".
    spread
        Standard deviation of a normal law for "tape", else half the width of an even one; metres, or 1 for shares of
        what the kind allows.
    places
        Lengths in the scene that move with it, for "tape" and "placement".
    subject
        What it is of: the axis (0 to 2) of the head box or of a mesh room, a material or finish, or a model and driver.
    """

    name: str
    words: str
    kind: str
    spread: float
    places: tuple[Path, ...] = ()
    subject: tuple[Any, ...] = ()

    @property
    def standard_deviation(self) -> float:
        """Standard deviation of what is drawn."""
        return self.spread if self.kind == "tape" else self.spread / float(np.sqrt(3.0))


def uncertainties_of(blueprint: Blueprint, built: BuiltScene) -> tuple[Uncertainty, ...]:
    """List every doubt of a scene, in the order of `KINDS`."""
    found = [*_ear(), *_loudspeakers(blueprint), *_furniture(blueprint), *_room(blueprint, built)]
    found += [*_head(built), *_materials(built), *_drivers(built)]
    return tuple(sorted(found, key=lambda uncertainty: KINDS.index(uncertainty.kind)))


def _tape(name: str, words: str, *places: Path, subject: tuple[Any, ...] = ()) -> Uncertainty:
    return Uncertainty(name, words, "tape", TAPE_M, places, subject)


def _ear() -> Iterator[Uncertainty]:
    for key, words in NAMES.items():
        yield _tape(f"ear.{key}", f"the {words} of the ear", ("listener", "ear", key))


def _loudspeakers(blueprint: Blueprint) -> Iterator[Uncertainty]:
    """One that stands on a piece takes its height from it; one that is built in lies in its wall."""
    off = blueprint.method.placement_error
    for number, record in enumerate(blueprint.loudspeakers):
        built_in, at = record.standing == "built in", ("loudspeakers", number)
        for key, words in NAMES.items():
            place: Path = (*at, "acoustic_axis", key)
            if key == "up" and record.standing == "stand" and record.acoustic_axis.up is None:
                place, words = (*at, "stand_height"), "height of the stand"
            elif (key == "up" and (record.acoustic_axis.up is None or record.standing == "desk")) or (
                key == "from_front" and built_in
            ):
                continue
            yield _tape(f"{record.name}.{key}", f"the {words} of {record.name}", place)
            if off > 0.0 and not built_in:
                how = f"how exactly {record.name} stands ({PLACED[key]})"
                yield Uncertainty(f"{record.name} placed, {key}", how, "placement", off, (place,))


def _furniture(blueprint: Blueprint) -> Iterator[Uncertainty]:
    for number, item in enumerate(blueprint.furniture):
        for reading in item.readings():
            dependents = _dependents(blueprint, item) if reading.lifts else ()
            words = f"the {reading.words} of the {item.name}"
            yield _tape(f"{item.name}.{reading.name}", words, ("furniture", number, *reading.place), *dependents)


def _dependents(blueprint: Blueprint, piece: Furniture) -> tuple[Path, ...]:
    """Heights of the loudspeakers that stand on a piece and move with it; those that follow from it do so anyway."""
    places: list[Path] = []
    for number, record in enumerate(blueprint.loudspeakers):
        axis = record.acoustic_axis
        below = covers(piece, np.array([axis.from_front, axis.from_left]))
        named = record.stands_on is None or record.stands_on == piece.name
        if record.standing == "desk" and axis.up is not None and named and (below or record.stands_on is not None):
            places.append(("loudspeakers", number, "acoustic_axis", "up"))
    return tuple(places)


def _room(blueprint: Blueprint, built: BuiltScene) -> Iterator[Uncertainty]:
    """Walls: the front and left wall are where the tape begins, all others may be off.

    The corners of an outline that lie on one line move together; a mesh is stretched as a whole.
    """
    room = blueprint.room
    if room.box is not None:
        for key in ("depth", "width", "height"):
            yield _tape(f"room.{key}", f"the {key} of the room", ("room", "box", key))
    elif room.outline is not None:
        for key, side in (("from_front", "front"), ("from_left", "left")):
            for value in sorted({getattr(corner, key) for corner in room.outline} - {0.0}):
                lined = [n for n, corner in enumerate(room.outline) if getattr(corner, key) == value]
                words = f"the wall or corner {value:g} m from the {side}"
                yield _tape(f"room.{key} {value:g}", words, *(("room", "outline", n, key) for n in lined))
        yield _tape("room.height", "the height of the room", ("room", "height"))
        for number, slope in enumerate(room.slopes):
            words = f"where the {slope.name} starts on its wall"
            yield _tape(f"{slope.name}.starts_at_height", words, ("room", "slopes", number, "starts_at_height"))
    else:
        for axis, key in enumerate(("depth", "width", "height")):
            yield _tape(f"room.{key}", f"the {key} of the room", subject=(axis,))


def _head(built: BuiltScene) -> Iterator[Uncertainty]:
    for axis, key in enumerate(("depth", "across", "up")):
        if built.head_box[axis] > 0.0:
            words = f"where the head is ({('depth', 'sideways', 'height')[axis]})"
            yield Uncertainty(f"head.{key}", words, "head", 0.5 * float(built.head_box[axis]), subject=(axis,))


def _materials(built: BuiltScene) -> Iterator[Uncertainty]:
    """Materials by coefficients, all but openings, which take everything; and the flow resistivity of finishes."""
    layered = built.finish_of_facet if built.finishes else np.full(len(built.room.facets), -1)
    known = {
        facet.material
        for facet, row, number in zip(built.room.facets, built.absorption, layered, strict=True)
        if number < 0 and not (row == 1.0).all()
    }
    for material in dict.fromkeys(facet.material for facet in built.room.facets):
        if material in known:
            yield Uncertainty(
                material, f"how much {material} absorbs", "material", 1.0, subject=("absorption", material)
            )
    for finish in built.finishes:
        if any(row.kind == "porous" for row in finish.layers):
            words = f"the flow resistivity of {finish.name}"
            yield Uncertainty(f"{finish.name}, flow", words, "material", 1.0, subject=("flow", finish.name))


def _drivers(built: BuiltScene) -> Iterator[Uncertainty]:
    models = {one.model.name: one.model for one in built.loudspeakers if one.model.kind != "point"}
    for name, model in models.items():
        for driver in model.drivers:
            words = f"what the {driver.name} of {name} radiates off its axis"
            yield Uncertainty(f"{name} {driver.name}", words, "directivity", 1.0, subject=(name, driver.name))
