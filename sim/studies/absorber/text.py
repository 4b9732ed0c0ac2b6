"""One build-up as lines for a terminal: what it is made of, what it leaves of a reflection, and where that ends."""

from __future__ import annotations

from typing import Final

from sim.acoustics.air import Air
from sim.acoustics.layered_reflection import FIELD_INCIDENCE_DEG, out_of_range
from sim.acoustics.layers import BuildUp, Cloth, PorousLayer, layer_words
from sim.acoustics.resonators import tuning
from sim.showing.numbers import short_hertz, tenths
from sim.showing.words import CAUTIONS
from sim.studies.absorber.table import AbsorberTable, absorber_table

BELIEVED_DB: Final = -20.0
"""Reflections weaker than this are lost among those of edges, frame and cloth (common practice, no source)."""
OUT_OF_RANGE_MARK: Final = "*"


def absorber_lines(build_up: BuildUp, air: Air) -> list[str]:
    """Lines on one build-up: layers, tuning, tables in octaves and third-octaves, range of the models, cautions.

    Levels are means of energy over each band, in dB re a hard wall at the same place and angle, for a panel without
    edges; coefficients are of random incidence up to 78 degrees.
    """
    octaves, thirds = absorber_table(build_up, air), absorber_table(build_up, air, thirds=True)
    lines = [build_up.name, *_what_it_is(build_up, air), ""]
    lines += [
        "Level of the mirrored sound in dB re a hard wall, at angles from the normal; and the share of energy",
        f"taken at random incidence (0 to {FIELD_INCIDENCE_DEG:g} degrees). Means over the band, panel without edges.",
        "",
        "Octaves",
        *_table(octaves),
        "",
        "Third-octaves",
        *_table(thirds),
        "",
        *_remarks(build_up, octaves, thirds, air),
    ]
    return lines


def _what_it_is(build_up: BuildUp, air: Air) -> list[str]:
    lines = ["From the room to the wall:"]
    lines += [f"  {layer_words(layer)}" for layer in build_up.layers]
    lines.append(f"  {build_up.backing.name}")
    lines.append(f"Depth {1000.0 * build_up.depth_m:.0f} mm.")
    if build_up.mass_kg_m2 is not None:
        lines.append(f"Mass about {build_up.mass_kg_m2:.1f} kg/m2 with what holds it (estimate, weigh yours).")
    if build_up.source:
        lines.append(f"Source: {build_up.source}.")
    if build_up.note:
        lines.append(build_up.note)
    tuned = tuning(build_up, air)
    if tuned is not None:
        lines.append(tuned.sentence)
    return lines


def _table(found: AbsorberTable) -> list[str]:
    header = f"{'Hz':>9}" + "".join(f"{f'{angle:.0f} deg':>9}" for angle in found.angles_deg) + f"{'random':>9}"
    rows = [header]
    for band, nominal in enumerate(found.bands.nominal_hz):
        mark = " " if found.holds[band] else OUT_OF_RANGE_MARK
        cells = "".join(f"{tenths(float(level)):>9}" for level in found.level_db[:, band])
        rows.append(f"{short_hertz(float(nominal)):>8}{mark}{cells}{max(float(found.absorption[band]), 0.0):9.2f}")
    return rows


def _remarks(build_up: BuildUp, octaves: AbsorberTable, thirds: AbsorberTable, air: Air) -> list[str]:
    lines = [f"Note: {sentence}" for sentence in out_of_range(build_up, thirds.bands.nominal_hz, air)]
    if not (octaves.holds.all() and thirds.holds.all()):
        lines.append(f"Bands marked {OUT_OF_RANGE_MARK} lie outside the range of a model.")
    lines.append(
        f"Levels under about {BELIEVED_DB:g} dB are not to be believed in a room: edges, frame and cloth reflect more."
    )
    lines.append(
        "A panel smaller than the first Fresnel zone does less than this; a reverberation room (ISO 354) measures "
        "more, because sound bends round the edges of a sample."
    )
    if any(isinstance(layer, PorousLayer | Cloth) for layer in build_up.layers):
        lines += [f"Caution: {caution}" for caution in CAUTIONS if caution.startswith(("Fibres", "Fire"))]
    return lines
