"""Checks that need no geometry: what cannot be is refused, key by key."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from sim.acoustics.buildups import build_ups
from sim.acoustics.materials import everyday_names, library, library_name
from sim.blueprint.build_ups import layers_in_words
from sim.blueprint.error_messages import closest
from sim.blueprint.named_files import check_measured_file, check_mesh_file
from sim.blueprint.room import SMALLEST_ROOM_M, Opening
from sim.blueprint.schema import KINDS, Blueprint, Loudspeaker
from sim.blueprint.toml_text import Key, Locations
from sim.blueprint.treatment import Panel
from sim.blueprint.units import LIKELY_ROOM_M, UNIT_M, is_imperial, length_words, likely_units
from sim.errors import SceneError

CROSSOVERS = {"two-way": 1, "three-way": 2, "coaxial": 1, "point": 0}
BOX_SIZE_M = (0.05, 2.0)
"""Smallest and largest side of a loudspeaker box; beyond is a unit mistake (common practice, no source)."""
SPANS_BY_SURFACE = {
    "left wall": ("from_front", "up"),
    "right wall": ("from_front", "up"),
    "front wall": ("from_left", "up"),
    "rear wall": ("from_left", "up"),
    "floor": ("from_front", "from_left"),
    "ceiling": ("from_front", "from_left"),
}
"""The two spans that place a rectangle in each surface of a box room."""


def refuse_what_cannot_be(blueprint: Blueprint, folder: Path, locations: Locations) -> None:
    """Raise SceneError for the first thing that no room could have; mesh files are looked for in `folder`."""
    _sizes(blueprint, locations)
    _mesh_files(blueprint, folder, locations)
    _names(blueprint, locations)
    for key, material in _materials(blueprint):
        _material(material, key, blueprint, locations)
    refuse_layers_behind(blueprint, locations)
    _models(blueprint, locations)
    for number, loudspeaker in enumerate(blueprint.loudspeakers):
        _standing(loudspeaker, ("loudspeakers", number), blueprint, locations)
    _sides(blueprint, locations)
    for number, opening in enumerate(blueprint.openings):
        _rectangle(opening, ("openings", number), blueprint, locations)
    for number, panel in enumerate(blueprint.panels):
        _rectangle(panel, ("panels", number), blueprint, locations)
        refuse_without_layers(panel, ("panels", number), blueprint, locations)


def _sizes(blueprint: Blueprint, locations: Locations) -> None:
    room = blueprint.room
    sizes: list[tuple[Key, float, str]] = []
    if room.box is not None:
        sizes = [
            (("room", "box", "width"), room.box.width, "wide"),
            (("room", "box", "depth"), room.box.depth, "deep"),
            (("room", "box", "height"), room.box.height, "high"),
        ]
    elif room.outline is not None:
        depths = [corner.from_front for corner in room.outline]
        acrosses = [corner.from_left for corner in room.outline]
        sizes = [
            (("room", "outline"), max(depths) - min(depths), "deep"),
            (("room", "outline"), max(acrosses) - min(acrosses), "wide"),
            (("room", "height"), room.height or 0.0, "high"),
        ]
    for key, metres, word in sizes:
        if metres < SMALLEST_ROOM_M:
            raise SceneError(
                locations.where(*key),
                f"the room would be {_size(metres, blueprint.units)} {word}",
                _unit_remedy(metres, blueprint),
            )
    for name, model in blueprint.models.items():
        for side in ("width", "height", "depth"):
            metres = getattr(model, side)
            if metres is not None and not BOX_SIZE_M[0] <= metres <= BOX_SIZE_M[1]:
                low, high = (_size(end, blueprint.units) for end in BOX_SIZE_M)
                raise SceneError(
                    locations.where("models", name, side),
                    f"a monitor of {_size(metres, blueprint.units)} is no size for a cabinet",
                    f"write between {low} and {high}, with the unit if it is not "
                    f'that of the file ({blueprint.units}), such as "290 mm"',
                )


def _size(metres: float, unit: str) -> str:
    """A size that may be wrong by its unit: as many digits as were written, in metres or in feet and inches."""
    return length_words(metres, unit) if is_imperial(unit) else f"{metres:.4g} m"


def _unit_remedy(metres: float, blueprint: Blueprint) -> str:
    written = f"{metres / UNIT_M[blueprint.units]:.6g}"
    guesses = likely_units(float(written), blueprint.units, LIKELY_ROOM_M)
    if not guesses:
        return f"write at least {_size(SMALLEST_ROOM_M, blueprint.units)}"
    guess = guesses[0]
    return f'is {written} in {guess}? write "{written} {guess}", or set units = "{guess}" at the top for the whole file'


def _mesh_files(blueprint: Blueprint, folder: Path, locations: Locations) -> None:
    if blueprint.room.mesh is not None:
        check_mesh_file(blueprint.room.mesh, folder, locations.where("room", "mesh"))
    for number, item in enumerate(blueprint.furniture):
        if item.mesh is not None:
            check_mesh_file(item.mesh.file, folder, locations.where("furniture", number, "file"))
    for name, model in blueprint.models.items():
        if model.file is not None:
            check_measured_file(model.file, folder, locations.where("models", name, "file"))
        for number, driver in enumerate(model.drivers):
            if driver.file is not None:
                check_measured_file(driver.file, folder, locations.where("models", name, "drivers", number, "file"))


def _names(blueprint: Blueprint, locations: Locations) -> None:
    bodies: list[tuple[Key, str]] = [(("furniture", n), item.name) for n, item in enumerate(blueprint.furniture)]
    bodies += [(("loudspeakers", n), item.name) for n, item in enumerate(blueprint.loudspeakers)]
    _unique(bodies, {"room"}, locations)
    _unique([(("openings", n), item.name) for n, item in enumerate(blueprint.openings)], set(), locations)
    _unique([(("keep_clear", n), item.name) for n, item in enumerate(blueprint.keep_clear)], set(), locations)
    _unique([(("panels", n), item.name) for n, item in enumerate(blueprint.panels)], set(), locations)


def _unique(named: list[tuple[Key, str]], taken: set[str], locations: Locations) -> None:
    for key, name in named:
        if not name.strip():
            raise SceneError(locations.where(*key, "name"), "the name is empty", 'write one, such as name = "left"')
        if name in taken:
            raise SceneError(
                locations.where(*key, "name"),
                f'the name "{name}" is already taken',
                f'give each its own name, such as name = "{name} 2"',
            )
        taken.add(name)


def _materials(blueprint: Blueprint) -> Iterator[tuple[Key, str]]:
    for surface, material in blueprint.room.materials.items():
        yield ("room", "materials", surface), material
    for number, named in enumerate(blueprint.room.surfaces):
        if named.material is not None:
            yield ("room", "surfaces", number, "material"), named.material
    for number, item in enumerate(blueprint.furniture):
        yield ("furniture", number, "material"), item.material
        for key, material in item.also_of.items():
            yield ("furniture", number, key), material
    for number, opening in enumerate(blueprint.openings):
        if opening.material is not None:
            yield ("openings", number, "material"), opening.material
    for name, record in blueprint.materials.items():
        if record.behind is not None:
            yield ("materials", name, "behind"), record.behind


def _material(name: str, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    known = (*blueprint.materials, *library(), *everyday_names())
    if name not in blueprint.materials and library_name(name) is None:
        raise SceneError(
            locations.where(*key),
            f'no material is called "{name}"',
            closest(name, known, what="the materials") + ", or describe your own under [materials]",
        )


def _models(blueprint: Blueprint, locations: Locations) -> None:
    for name, model in blueprint.models.items():
        if model.crossovers_hz is None:  # kinds that have none refuse the key themselves
            continue
        where = locations.where("models", name, "crossovers_hz")
        count, wanted = len(model.crossovers_hz), CROSSOVERS[model.kind]
        if count != wanted:
            raise SceneError(where, f"{count} crossover frequencies for a {model.kind}", f"a {model.kind} has {wanted}")
        if list(model.crossovers_hz) != sorted(set(model.crossovers_hz)):
            raise SceneError(where, "the crossover frequencies do not rise", "write the lowest first")
    for number, loudspeaker in enumerate(blueprint.loudspeakers):
        if loudspeaker.model not in (*blueprint.models, *KINDS):
            raise SceneError(
                locations.where("loudspeakers", number, "model"),
                f'no model is called "{loudspeaker.model}"',
                closest(loudspeaker.model, (*blueprint.models, *KINDS), what="the models")
                + f', or describe it under [models."{loudspeaker.model}"]',
            )


def _standing(loudspeaker: Loudspeaker, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    bearers = [item.name for item in blueprint.furniture if item.bears]
    if loudspeaker.stands_on is not None and loudspeaker.stands_on not in bearers:
        raise SceneError(
            locations.where(*key, "stands_on"),
            f'no desk, shelf or bridge is called "{loudspeaker.stands_on}"',
            closest(loudspeaker.stands_on, bearers, what="those in this scene")
            if bearers
            else "add a [[furniture]] of that name, or leave stands_on out",
        )
    if loudspeaker.stands_on is not None and loudspeaker.standing != "desk":
        raise SceneError(
            locations.where(*key, "stands_on"),
            f'it is given although standing is "{loudspeaker.standing}"',
            'write standing = "desk" (also for shelves and bridges), or leave stands_on out',
        )
    if loudspeaker.standing == "desk" and not bearers:
        raise SceneError(
            locations.where(*key, "standing"),
            'it is "desk", but the scene has no desk',
            'add a [[furniture]] with kind = "desk", or write standing = "stand"',
        )
    if loudspeaker.built_into and loudspeaker.standing != "built in":
        raise SceneError(
            locations.where(*key, "built_into"),
            f'it is given although standing is "{loudspeaker.standing}"',
            'write standing = "built in", or leave built_into out',
        )


def _sides(blueprint: Blueprint, locations: Locations) -> None:
    """Refuse a "left" loudspeaker that is right of the "right" one of the same name."""
    by_name = {" ".join(item.name.lower().split()): item for item in blueprint.loudspeakers}
    for number, one in enumerate(blueprint.loudspeakers):
        name = " ".join(one.name.lower().split())
        other = by_name.get(re.sub(r"\bleft\b", "right", name))
        if other is None or other is one:
            continue
        unit = blueprint.units
        mine, yours = one.acoustic_axis.from_left, other.acoustic_axis.from_left
        if mine > yours:
            raise SceneError(
                locations.where("loudspeakers", number, "acoustic_axis", "from_left"),
                f'"{one.name}" is {length_words(mine, unit)} and "{other.name}" {length_words(yours, unit)} from the '
                "left wall: they are swapped",
                "swap the two numbers, or the names; from_left counts from the wall at the left hand of the seat",
            )


def _rectangle(item: Opening | Panel, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    """Refuse an opening or panel whose surface no box room has, or whose spans do not place it."""
    given = [name for name in ("from_front", "from_left", "up") if getattr(item, name) is not None]
    wanted = SPANS_BY_SURFACE.get(item.surface, ()) if blueprint.room.box is not None else ()
    slopes = [slope.name for slope in blueprint.room.slopes]
    known = item.surface in slopes or bool(wanted) or _elsewhere(item, blueprint)
    if blueprint.room.box is not None and not known:
        raise SceneError(
            locations.where(*key, "surface"),
            f'no surface is called "{item.surface}"',
            closest(item.surface, [*SPANS_BY_SURFACE, *slopes], what="the surfaces of a box room"),
        )
    missing = [name for name in wanted if name not in given]
    if missing or len(given) < 2:
        needs = " and ".join(wanted) if wanted else "two of from_front, from_left and up"
        raise SceneError(
            locations.where(*key),
            f'the place of "{item.name}" in "{item.surface}" is not complete',
            f"give {needs}, each as [from, to]",
        )


def _elsewhere(item: Opening | Panel, blueprint: Blueprint) -> bool:
    """Whether it is in a slope, or a panel hangs on an opening or on furniture, whose surfaces begin with its name."""
    if item.surface in [slope.name for slope in blueprint.room.slopes]:
        return True
    pieces = [piece.name or piece.kind for piece in blueprint.furniture]
    return isinstance(item, Panel) and (
        item.surface in [opening.name for opening in blueprint.openings]
        or any(item.surface.startswith(f"{piece} ") for piece in pieces)
    )


# Checks of what is told in layers: panels need layers, and the wall behind layers must not have any.


def refuse_without_layers(panel: Panel, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the material of the panel at `key` is unknown, or known by absorption coefficients only."""
    name, own = panel.material, blueprint.materials.get(panel.material)
    plain = " ".join(name.lower().split())
    if own.absorption is None if own is not None else plain in build_ups() or _is_words(name):
        return
    layered = [each for each, record in blueprint.materials.items() if record.absorption is None]
    raise SceneError(
        locations.where(*key, "material"),
        f'"{name}" is given by absorption coefficients, and a panel needs layers'
        if own is not None or library_name(name) is not None
        else f'no layered material is called "{name}"',
        closest(name, (*layered, *build_ups()), what="the layered materials")
        + ', or describe your own under [materials] with build_up = "100 mm wool, 100 mm gap"',
    )


def _is_words(text: str) -> bool:
    """Whether a text tells layers, such as "100 mm wool"."""
    try:
        return layers_in_words(text) is not None
    except ValueError:
        return False


def refuse_layers_behind(blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the wall behind a material's layers is itself told in layers."""
    for name, record in blueprint.materials.items():
        behind = blueprint.materials.get(record.behind or "")
        if behind is not None and behind.absorption is None:
            raise SceneError(
                locations.where("materials", name, "behind"),
                f'"{record.behind}" is given in layers itself',
                "name a wall that is given by absorption coefficients, and put all layers into one material",
            )
