"""The built scene: room, furniture, loudspeakers and listener, built from a scene and found possible."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from sim.acoustics.air import Air
from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.blueprint.schema import Blueprint
from sim.blueprint.sets import whole, words_on_sets
from sim.geometry.enclosures import room_patches
from sim.geometry.meshes import furniture_patches
from sim.geometry.room import Room, build_room
from sim.placement.collisions import judge_furniture, refuse_collisions, solids_of
from sim.placement.finishes import (
    LayeredFinish,
    absorption_of,
    everyday_notes,
    finish_of_facets,
    layered_finishes,
    range_notes,
    scattering_of,
)
from sim.placement.level_points import drivers_off_planes, ears_off_planes
from sim.placement.panel_collisions import refuse_panel_collisions
from sim.placement.panels import PlacedPanel, place_panels
from sim.placement.poses import PlacedLoudspeaker, pulled_flush
from sim.placement.stops import stop_warnings
from sim.placement.supports import placed_loudspeakers, silent_loudspeakers


@printable
@dataclass(frozen=True, slots=True)
class BuiltScene:
    """Everything in its place.

    Attributes
    ----------
    room
        Surfaces of room, furniture and loudspeaker boxes.
    loudspeakers
        In the scene's order: the first batch axis everywhere.
    ears
        (l, 3) listener points in metres: the ear and, if there is one, the second seat.
    listener_names
        Names of the listeners.
    head_box
        (3,) full sizes in metres of the box the head stays in: depth, across, up.
    absorption
        (facet, 8) absorption coefficients of the octaves 63 Hz to 8 kHz; at random incidence for layered facets.
    air
        Air in the room.
    volume_m3
        Volume of the empty room.
    notes
        What was assumed while building.
    finishes
        Absorbers in layers, of facets and of panels.
    finish_of_facet
        (facet,) number of each facet's finish, -1 where the octave coefficients tell all; empty without finishes.
    panels
        Absorbers on surfaces.  They are no facets: `sim.propagation.surfaces.factors` blends them into the wall.
    warnings
        What could hurt someone or contradicts itself and has to be settled first; see `sim.placement.stops`.
    scattering
        (facet, 8) scattering coefficients of the octaves 63 Hz to 8 kHz (ISO 17497-1); without rows where nobody
        told any, and all surfaces are taken as large and flat.  Those of panels are with their finish.
    """

    room: Room
    loudspeakers: tuple[PlacedLoudspeaker, ...]
    ears: FloatArray
    listener_names: tuple[str, ...]
    head_box: FloatArray
    absorption: FloatArray
    air: Air
    volume_m3: float
    notes: tuple[str, ...]
    finishes: tuple[LayeredFinish, ...] = ()
    finish_of_facet: IntArray = field(default_factory=lambda: frozen(np.zeros(0, dtype=np.int64)))
    panels: tuple[PlacedPanel, ...] = ()
    warnings: tuple[str, ...] = ()
    scattering: FloatArray = field(default_factory=lambda: frozen(np.zeros((0, 8))))

    @property
    def boxes(self) -> frozenset[str]:
        """Bodies that are boxes of loudspeakers; walls that others are built into are furniture like any other."""
        return frozenset(one.body for one in self.loudspeakers if not one.built_into)


def build_scene(blueprint: Blueprint, folder: Path) -> BuiltScene:
    """Build room, furniture and loudspeakers.

    Raises
    ------
    SceneError
        If the listener, a driver or a box is where it cannot be, or a piece cannot be built.
    """
    enclosure = room_patches(blueprint, folder)
    patches = list(enclosure.patches)
    for item in blueprint.furniture:
        patches.extend(furniture_patches(item, folder))
    loudspeakers = placed_loudspeakers(blueprint, folder)
    patches.extend(patch for one in loudspeakers for patch in one.patches())
    silent = silent_loudspeakers(blueprint, folder)
    patches.extend(patch for one in silent for patch in one.patches())
    room = build_room(patches)
    notes = [words for words in (words_on_sets(blueprint),) if words]
    notes += [*enclosure.notes, *dict.fromkeys(note for each in loudspeakers for note in each.model.notes)]
    for index, loudspeaker in enumerate(loudspeakers):
        loudspeakers[index], note = pulled_flush(room, index, loudspeaker)
        notes.extend([note] if note else [])
    loudspeakers = [drivers_off_planes(room, one) for one in loudspeakers]
    silent = [pulled_flush(room, len(loudspeakers) + number, one)[0] for number, one in enumerate(silent)]
    listener = blueprint.listener
    seats = [listener.ear.coordinates]
    names = ["ear"]
    if listener.second_seat is not None:
        seats.append(listener.second_seat.ear.coordinates)
        names.append(listener.second_seat.name)
    air = Air(blueprint.air.temperature_c, blueprint.air.relative_humidity_percent, blueprint.air.pressure_kpa)
    used = [facet.material for facet in room.facets]
    finishes = layered_finishes(blueprint, used, blueprint.panels)
    of_facet = finish_of_facets(room, finishes, blueprint)
    scattered = {material: scattering_of(material, blueprint) for material in dict.fromkeys(used)}
    panels, panel_notes = place_panels(blueprint, room, finishes)
    notes += [*everyday_notes(used, blueprint), *panel_notes, *range_notes(finishes, air)]
    triangles = enclosure.triangles
    built = BuiltScene(
        room=room,
        loudspeakers=tuple(loudspeakers),
        ears=ears_off_planes(room, np.array(seats)),
        listener_names=tuple(names),
        head_box=frozen(np.array([listener.head_box.depth, listener.head_box.across, listener.head_box.up])),
        absorption=frozen(absorption_of(blueprint, room, finishes, of_facet, air)),
        air=air,
        volume_m3=enclosed_volume_m3(triangles),
        notes=tuple(notes),
        finishes=finishes,
        finish_of_facet=frozen(of_facet),
        panels=panels,
        warnings=stop_warnings(whole(blueprint), [*loudspeakers, *silent], panels),
        scattering=frozen(np.array([scattered[material] for material in used])),
    )
    pieces = solids_of(blueprint.furniture)
    joined = judge_furniture(room, triangles, pieces, blueprint.units)
    refuse_collisions(
        built.room, (*built.loudspeakers, *silent), built.ears, built.listener_names, pieces, blueprint.units
    )
    in_the_way = refuse_panel_collisions(
        room,
        panels,
        [*loudspeakers, *silent],
        built.ears,
        names,
        built.head_box,
        blueprint.openings,
        pieces,
        blueprint.units,
    )
    return replace(built, notes=(*built.notes, *joined, *in_the_way))


def enclosed_volume_m3(triangles: FloatArray) -> float:
    """Volume inside a closed surface (n, 3, 3), whichever way it is wound (divergence theorem)."""
    known = _volumes.find(triangles)
    if known is not None:
        return known
    crossed = np.cross(triangles[:, 1], triangles[:, 2])
    volume_m3 = abs(float(np.einsum("ij,ij->", triangles[:, 0], crossed))) / 6.0
    return volume_m3 if triangles.flags.writeable else _volumes.keep(volume_m3, triangles)


_volumes: KeptFor[float] = KeptFor(16)
