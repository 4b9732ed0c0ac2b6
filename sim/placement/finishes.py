"""What surfaces and panels are made of: octave coefficients, and absorbers in layers with their exact numbers.

Layers are kept as plain rows, so that results can be stored and the reflection factor worked out at whatever angle
and frequency a path asks for.  Tables would not do: the phase of a gap turns faster than any grid that is small.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.acoustics.buildups import assemble, build_ups, find_build_up
from sim.acoustics.layered_reflection import out_of_range, random_incidence
from sim.acoustics.layers import AirGap, Backing, BuildUp, Cloth, Layer, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.materials import (
    ABSORPTION_OCTAVES_HZ,
    FLAT_SCATTERING,
    eight_octaves,
    find_material,
    library,
    library_name,
)
from sim.acoustics.porous import PorousModel
from sim.acoustics.resonators import lost_through
from sim.answers import printable
from sim.arrays import FloatArray, IntArray, KeptFor, frozen
from sim.blueprint.build_ups import build_up_in_words
from sim.blueprint.schema import Blueprint
from sim.blueprint.treatment import Panel
from sim.geometry.room import Room

POINTS_IN_AN_OCTAVE = 12
"""Frequencies over which a coefficient of an octave is the mean."""


@printable
@dataclass(frozen=True, slots=True)
class LayerRow:
    """One layer in plain numbers; what its kind does not have is zero or empty.

    Attributes
    ----------
    kind
        "porous", "gap", "cloth", "perforated" or "membrane".
    thickness_m
        In metres; zero for cloth and membranes.
    flow_resistivity_pa_s_m2
        Of a porous layer.
    resistance_pa_s_m
        Flow resistance of a cloth, friction of a membrane.
    mass_kg_m2
        Of a membrane, or of a cloth that is free to move; a cloth whose mass is zero is held still.
    hole_diameter_m, open_share
        Of a perforated sheet: diameter of its holes, and their area over the whole.
    model
        Which model a porous layer follows.
    divided
        Whether sound is kept from running sideways in it.
    """

    kind: str
    thickness_m: float = 0.0
    flow_resistivity_pa_s_m2: float = 0.0
    resistance_pa_s_m: float = 0.0
    mass_kg_m2: float = 0.0
    hole_diameter_m: float = 0.0
    open_share: float = 0.0
    model: str = ""
    divided: bool = False


@printable
@dataclass(frozen=True, slots=True)
class LayeredFinish:
    """An absorber as it hangs in the room.

    Attributes
    ----------
    name
        Name of the material or build-up.
    layers
        From the room side to the wall.
    behind
        (8,) absorption coefficients of the wall behind, octaves 63 Hz to 8 kHz; zeros for a hard wall.
    mass_kg_m2
        Estimate of what hangs, without a frame; 0 when not known.
    scattering
        (8,) scattering coefficients of its face, octaves 63 Hz to 8 kHz.
    """

    name: str
    layers: tuple[LayerRow, ...]
    behind: FloatArray
    mass_kg_m2: float = 0.0
    scattering: tuple[float, ...] = (FLAT_SCATTERING,) * len(ABSORPTION_OCTAVES_HZ)

    @property
    def build_up(self) -> BuildUp:
        """The same as the acoustics take it."""
        hard = not self.behind.any()
        backing = Backing() if hard else Backing("wall", absorption=tuple(self.behind.tolist()))
        return BuildUp(self.name, tuple(_layer(row) for row in self.layers), backing)


def layered_finishes(
    blueprint: Blueprint, materials: Iterable[str], panels: Iterable[Panel] = ()
) -> tuple[LayeredFinish, ...]:
    """Return the layered ones among the named materials and those of panels, each once, with the gap behind a panel.

    Materials given by coefficients are left out.  The same objects as before where no material and no panel is new.
    """
    panels, names = tuple(panels), (*dict.fromkeys(materials), *blueprint.materials)
    known = _layered.find(*blueprint.materials.values(), *panels)
    if known is not None and known[0] == names:
        return known[1]
    found = _layered_finishes(blueprint, names[: len(names) - len(blueprint.materials)], panels)
    return _layered.keep((names, found), *blueprint.materials.values(), *panels)[1]


_layered: KeptFor[tuple[tuple[str, ...], tuple[LayeredFinish, ...]]] = KeptFor(64)


def _layered_finishes(
    blueprint: Blueprint, materials: Sequence[str], panels: Sequence[Panel]
) -> tuple[LayeredFinish, ...]:
    found = {name: _build_up(name, blueprint) for name in materials}
    made_of = {name: name for name in found}
    for panel in panels:
        found[finish_name(panel)] = _with_gap(_build_up(panel.material, blueprint), panel.gap)
        made_of[finish_name(panel)] = panel.material
    return tuple(
        LayeredFinish(
            name,
            tuple(_row(layer) for layer in build_up.layers),
            frozen(np.array(build_up.backing.absorption or np.zeros(len(ABSORPTION_OCTAVES_HZ)))),
            build_up.mass_kg_m2 or 0.0,
            scattering_of(made_of[name], blueprint),
        )
        for name, build_up in found.items()
        if build_up is not None
    )


def finish_name(panel: Panel) -> str:
    """Name of what a panel is of, with the gap behind it."""
    return panel.material if panel.gap == 0.0 else f"{panel.material}, {1000 * panel.gap:.0f} mm gap"


def _with_gap(build_up: BuildUp | None, gap_m: float) -> BuildUp | None:
    if build_up is None or gap_m == 0.0:
        return build_up
    return replace(build_up, layers=(*build_up.layers, AirGap(gap_m)))


def _build_up(name: str, blueprint: Blueprint) -> BuildUp | None:
    """The build-up of a layered material of the scene or, if the scene has none of this name, by words or name."""
    own = blueprint.materials.get(name)
    if own is None:
        if " ".join(name.lower().split()) not in build_ups() and not name[:1].isdigit():
            return None  # words for layers begin with a thickness; looking for what is near takes long
        try:
            return build_up_in_words(name)
        except ValueError:
            return None
    if own.absorption is not None:
        return None
    backing = Backing()
    if own.behind is not None:
        backing = Backing(own.behind, absorption=tuple(_coefficients(own.behind, blueprint)))
    words = own.layer_words
    if words is None:
        return replace(find_build_up(cast("str", own.build_up)), backing=backing)
    return assemble(name, words, backing=backing, source=own.source)


def _coefficients(name: str, blueprint: Blueprint) -> Sequence[float]:
    own = blueprint.materials.get(name)
    if own is not None and own.absorption is not None:
        return own.absorption
    for item in blueprint.furniture:
        if name in item.sheets:
            return lost_through(item.sheets[name], Air(blueprint.air.temperature_c))
    return eight_octaves(find_material(name).absorption)


def scattering_of(material: str, blueprint: Blueprint) -> tuple[float, ...]:
    """Scattering coefficients (8,) of a material: the scene's own, then the library's, else of a large flat surface."""
    own = blueprint.materials.get(material)
    if own is not None and own.scattering is not None:
        return (own.scattering,) * len(ABSORPTION_OCTAVES_HZ) if isinstance(own.scattering, float) else own.scattering
    known = library_name(material) if own is None else None
    return library()[known].scattering if known is not None else (FLAT_SCATTERING,) * len(ABSORPTION_OCTAVES_HZ)


def everyday_notes(materials: Iterable[str], blueprint: Blueprint) -> tuple[str, ...]:
    """One sentence for each material that goes by an everyday name, on the row of the library it is taken as."""
    behind = (record.behind for record in blueprint.materials.values() if record.behind is not None)
    notes = []
    for material in dict.fromkeys([*materials, *behind]):
        plain, taken = " ".join(material.lower().split()), library_name(material)
        if material not in blueprint.materials and taken is not None and taken != plain:
            notes.append(f'material "{material}" is taken as "{taken}" of the library')
    for item in blueprint.furniture:
        notes += [f"{name}: what goes through its holes is taken as lost" for name in item.sheets]
    return tuple(notes)


def finish_of_facets(room: Room, finishes: Sequence[LayeredFinish], blueprint: Blueprint) -> IntArray:
    """Number (facet,) of each facet's layered finish, -1 where octave coefficients tell all."""
    numbers = {finish.name: number for number, finish in enumerate(finishes)}
    known = {f.material for f in room.facets}
    of = {material: numbers[material] if _is_layered(material, blueprint) else -1 for material in known}
    return np.array([of[f.material] for f in room.facets], dtype=np.int64)


def _is_layered(material: str, blueprint: Blueprint) -> bool:
    """Whether a facet's material is told in layers; on a facet a bare name of the library means its coefficients."""
    own = blueprint.materials.get(material)
    return own is not None and own.absorption is None


def absorption_of(
    blueprint: Blueprint, room: Room, finishes: Sequence[LayeredFinish], of_facet: IntArray, air: Air
) -> FloatArray:
    """Absorption coefficients (facet, 8), from the scene's own materials first, then the library.

    Those of a layered finish are for random incidence up to 78 degrees, a mean over each octave: what is needed
    where no single angle is known.
    """
    layered = {number: taken_in_octaves(finishes[number], air) for number in set(of_facet.tolist()) - {-1}}
    plain = {facet.material for facet, number in zip(room.facets, of_facet.tolist(), strict=True) if number < 0}
    known = {material: _coefficients(material, blueprint) for material in plain}
    rows = [
        layered[number] if number >= 0 else known[facet.material]
        for facet, number in zip(room.facets, of_facet.tolist(), strict=True)
    ]
    return np.array(rows, dtype=np.float64)


def taken_in_octaves(finish: LayeredFinish, air: Air, points: int = POINTS_IN_AN_OCTAVE) -> FloatArray:
    """Share (8,) a finish takes at random incidence, octaves 63 Hz to 8 kHz: mean over `points` in each."""
    frequencies = sample_frequencies(octave_bands(63, 8000), points)
    fractions = random_incidence(finish.build_up, frequencies.ravel(), air=air)
    return np.asarray(fractions.reshape(frequencies.shape).mean(axis=1))


def range_notes(finishes: Sequence[LayeredFinish], air: Air) -> list[str]:
    """Sentences on finishes whose model does not hold in all octaves from 63 Hz to 8 kHz."""
    octaves = octave_bands(63, 8000).exact_hz
    return [
        f"{finish.name}: {reported}" for finish in finishes for reported in out_of_range(finish.build_up, octaves, air)
    ]


def _row(layer: Layer) -> LayerRow:
    if isinstance(layer, PorousLayer):
        return LayerRow(
            "porous",
            layer.thickness_m,
            flow_resistivity_pa_s_m2=layer.flow_resistivity_pa_s_m2,
            model=layer.model,
            divided=layer.divided,
        )
    if isinstance(layer, AirGap):
        return LayerRow("gap", layer.thickness_m, divided=layer.divided)
    if isinstance(layer, Cloth):
        return LayerRow("cloth", resistance_pa_s_m=layer.flow_resistance_pa_s_m, mass_kg_m2=layer.mass_kg_m2 or 0.0)
    if isinstance(layer, PerforatedSheet):
        return LayerRow(
            "perforated", layer.thickness_m, hole_diameter_m=layer.hole_diameter_m, open_share=layer.open_share
        )
    return LayerRow("membrane", resistance_pa_s_m=layer.resistance_pa_s_m, mass_kg_m2=layer.mass_kg_m2)


def _layer(row: LayerRow) -> Layer:
    if row.kind == "porous":
        return PorousLayer(row.thickness_m, row.flow_resistivity_pa_s_m2, cast("PorousModel", row.model), row.divided)
    if row.kind == "gap":
        return AirGap(row.thickness_m, row.divided)
    if row.kind == "cloth":
        return Cloth(row.resistance_pa_s_m, row.mass_kg_m2 or None)
    if row.kind == "perforated":
        return PerforatedSheet(row.thickness_m, row.hole_diameter_m, row.open_share)
    return Membrane(row.mass_kg_m2, row.resistance_pa_s_m)
