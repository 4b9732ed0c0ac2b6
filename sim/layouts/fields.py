"""Numeric fields of a scene by name, such as "left.tilt", and scenes in which they differ."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from sim.acoustics.buildups import porous_materials
from sim.answers import printable
from sim.blueprint.build_ups import layers_in_words
from sim.blueprint.error_messages import closest
from sim.blueprint.records import Record
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import text_to_metres
from sim.blueprint.writing import is_length
from sim.errors import SceneError

_LAYER = re.compile(
    r"(?P<size>[\d.,/ ]*[\d.](?:\s*(?:mm|cm|m|in|ft|\"|'))(?![a-z]))\s*(?:of\s+)?(?P<what>[a-z][a-z ]*)"
)


def words_of(blueprint: Blueprint, material: str) -> str:
    """Layers in words behind a panel's material; an empty text when it is told in another way."""
    own = blueprint.materials.get(material)
    if own is not None:
        return own.build_up or "" if own.behind is None else ""
    return material


def porous_thickness_m(words: str) -> float:
    """Thickness in metres of the first porous layer, nan when the words name none."""
    found = _first_porous(words)
    return text_to_metres(found["size"].strip()) if found else float("nan")


def with_porous_thickness(words: str, metres: float) -> str:
    """The same layers with the first porous one of another thickness.

    Raises ValueError ("found; remedy") when that makes no build-up.
    """
    found = _first_porous(words)
    if found is None:
        raise ValueError(f'"{words}" names no porous layer; tell it in words such as "100 mm wool"')
    if metres <= 0.0:
        raise ValueError(f"a layer of {1000.0 * metres:g} mm is none; choose more than 0 m")
    changed = f"{words[: found.start('size')]}{round(1000.0 * metres, 6):.12g} mm{words[found.end('size') :]}".lower()
    layers_in_words(changed)
    return changed


def _first_porous(words: str) -> re.Match[str] | None:
    """The first layer that is of a porous material of the library; None where any part is no such plain layer."""
    layers = list(_LAYER.finditer(words.lower()))
    between = _LAYER.sub("", words.lower())
    if between.strip(" ,+"):
        return None  # a name of the library such as "perforated board over 50 mm wool"
    return next((one for one in layers if " ".join(one["what"].split()) in porous_materials()), None)


# Numeric fields of a scene by name, such as "left.tilt" or "desk.depth", and scenes in which they differ.
#
# A field is `thing.key`: the thing is "ear", "room", a loudspeaker or anything else by its name; the key is one of the
# short words here or any key of the scene file, dotted where it lies deeper ("left.acoustic_axis.up").  A field of a
# left or right loudspeaker moves its partner as its mirror image, unless told otherwise.

Path = tuple[str | int, ...]

SHORT: Final[Mapping[str, Mapping[str, tuple[str | int, ...]]]] = {
    "loudspeakers": {
        "tilt": ("tilt_deg",),
        "toe_in": ("toe_in_deg",),
        "roll": ("roll",),
        "height": ("acoustic_axis", "up"),
        "from_front": ("acoustic_axis", "from_front"),
        "from_left": ("acoustic_axis", "from_left"),
    },
    "furniture": {
        "tilt": ("tilt_deg",),
        "turn": ("turn_deg",),
        "height": ("top",),
        "far_edge": ("from_front", 0),
        "listener_edge": ("from_front", 1),
        "left_end": ("from_left", 0),
        "right_end": ("from_left", 1),
    },
    "ear": {"height": ("up",)},
}
MIRRORED_SIGN: Final = ("roll", "plate_turn_deg")
"""Keys whose value changes its sign on the other side; toe-in counts toward the centre line on both."""
SPANS: Final = ("from_front", "from_left", "up")
SIZES: Final = {"depth": ("from_front", 1.0), "width": ("from_left", 0.5), "rise": ("up", 0.0)}
"""Size keys of what has spans: which span, and which share of it stays where it is: a shallower desk keeps its
listener-side edge, a narrower one its middle, a lower block its foot."""


@printable
@dataclass(frozen=True, slots=True)
class Field:
    """One numeric field of a scene.

    Attributes
    ----------
    name
        As it was asked for.
    kind
        "length", "degrees" or "number".
    places
        The places in the scene, that of the partner second.
    rules
        How a value is laid into each: "set", "mirror", "negate", "shift", "size" or "layer".
    middle_m
        Distance from the left wall of the plane that mirrors left and right, in metres.
    """

    name: str
    kind: str
    places: tuple[Path, ...]
    rules: tuple[str, ...]
    middle_m: float = 0.0


def find_field(blueprint: Blueprint, name: str, *, tied: bool = True) -> Field:
    """Find a field by its name; `tied` moves a partner loudspeaker along.

    Raises
    ------
    SceneError
        If nothing in the scene is called so, or it is no number.
    """
    things = things_of(blueprint)
    if name in things:
        section, start = things[name]
        raise SceneError(name, "it names a thing and not a number of it", _choices(part_at(blueprint, start), section))
    thing = max((each for each in things if name.startswith(f"{each}.")), key=len, default=None)
    if thing is None:
        raise SceneError(
            name,
            "nothing that can be varied begins so",
            "write a thing and its number, such as left.tilt or desk.depth; "
            + closest(name.split(".")[0], tuple(things), what="the things in this scene"),
        )
    section, start = things[thing]
    keys = tuple(int(key) if key.isdigit() else key for key in name[len(thing) + 1 :].split("."))
    record = part_at(blueprint, start)
    path, rule = _place(record, section, keys)
    if rule == "layer" and not math.isfinite(porous_thickness_m(words_of(blueprint, record.material))):
        raise SceneError(
            name,
            f'its material "{record.material}" cannot be written in words with a porous layer',
            'write it like material = "100 mm wool"',
        )
    if path is None:
        raise SceneError(name, f'"{thing}" has no number called "{name[len(thing) + 1 :]}"', _choices(record, section))
    kind = _kind(path)
    places, rules = [(*start, *path)], [rule]
    partner = _partner(blueprint, start) if section == "loudspeakers" and tied else None
    if partner is not None:
        places.append((*partner, *path))
        last = path[-1]
        rules.append("mirror" if last == "from_left" else "negate" if last in MIRRORED_SIGN else "set")
    return Field(name, kind, tuple(places), tuple(rules), _middle_m(blueprint))


def things_of(blueprint: Blueprint) -> dict[str, tuple[str, Path]]:
    """Everything that can be named, with the kind of its keys and where it is."""
    things: dict[str, tuple[str, Path]] = {
        "room": ("room", ("room", "box") if blueprint.room.box is not None else ("room",)),
        "air": ("air", ("air",)),
        "target": ("target", ("target",)),
        "method": ("method", ("method",)),
        "head_box": ("head_box", ("listener", "head_box")),
    }
    things |= {f"models.{name}": ("models", ("models", name)) for name in blueprint.models}
    for section in ("keep_clear", "openings", "panels", "furniture", "loudspeakers"):
        for number, each in enumerate(getattr(blueprint, section)):
            things[each.name] = (section, (section, number))
    return things | {"ear": ("ear", ("listener", "ear")), "seat": ("ear", ("listener", "ear"))}


def part_at(record: Any, path: Path) -> Any:
    """What lies at a path below a record; errors are those of looking it up."""
    for key in path:
        if isinstance(record, Mapping):
            record = record[key]
        else:
            record = record[int(key)] if isinstance(record, tuple) else getattr(record, str(key))
    return record


def _place(record: Record, section: str, keys: Path) -> tuple[Path | None, str]:
    """Path below a thing that holds a number, and the rule by which a value is laid in."""
    key = keys[0]
    if len(keys) == 1 and key in SIZES and key not in type(record).model_fields:
        return (keys, "size") if isinstance(getattr(record, SIZES[str(key)][0], None), tuple) else (None, "")
    if section == "panels" and keys == ("thickness",):
        return ("material",), "layer"
    short = SHORT.get(section, {})
    path = short.get(str(key), keys) if len(keys) == 1 else keys
    try:
        found = part_at(record, path)
    except (AttributeError, KeyError, IndexError, TypeError):
        return None, ""
    if path[-1] in SPANS and isinstance(found, tuple):
        return path, "shift"
    numeric = isinstance(found, int | float) and not isinstance(found, bool)
    may_be_given = path[-1] in ("up", "toe_in_deg", "tilt_deg", "roll")
    return (path, "set") if numeric or may_be_given else (None, "")


def _kind(path: Path) -> str:
    words = [str(key) for key in path if isinstance(key, str)]
    if words[-1] == "roll" or words[-1].endswith("_deg"):
        return "degrees"
    return "length" if is_length(words[-1]) else "number"


def _partner(blueprint: Blueprint, start: Path) -> Path | None:
    """Where the loudspeaker on the other side is: the one of the same number among those of the other side."""
    ear = blueprint.listener.ear.from_left
    sides: tuple[list[int], list[int]] = ([], [])
    for number, each in enumerate(blueprint.loudspeakers):
        sides[each.acoustic_axis.from_left > ear].append(number)
    here = int(blueprint.loudspeakers[int(start[1])].acoustic_axis.from_left > ear)
    order = sides[here].index(int(start[1]))
    return ("loudspeakers", sides[1 - here][order]) if order < len(sides[1 - here]) else None


def _middle_m(blueprint: Blueprint) -> float:
    """Where the mirror plane between left and right stands: in the middle of the outermost two loudspeakers."""
    across = [each.acoustic_axis.from_left for each in blueprint.loudspeakers]
    return 0.5 * (min(across) + max(across)) if len(across) > 1 else blueprint.listener.ear.from_left


def _choices(record: Record, section: str) -> str:
    """Words on which numbers a thing has."""
    own = [name for name in type(record).model_fields if _place(record, section, (name,))[0] is not None]
    names = [
        *SHORT.get(section, {}),
        *(["thickness"] if section == "panels" else []),
        *(size for size in SIZES if _place(record, section, (size,))[0]),
        *own,
    ]
    return "choose one of " + ", ".join(dict.fromkeys(names)) if names else "it has none; vary something else"
