"""What an absorber takes by frequency and angle: the question, its table, its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

from sim.acoustics.air import Air
from sim.acoustics.bands import Bands, octave_bands, sample_frequencies, third_octave_bands
from sim.acoustics.layered_reflection import (
    FIELD_INCIDENCE_DEG,
    out_of_range,
    random_incidence,
    reflection_factor_at,
    within_range,
)
from sim.acoustics.layers import BuildUp, Cloth, PorousLayer, layer_words
from sim.acoustics.levels import level_db
from sim.acoustics.resonators import tuning
from sim.answers import Answer, Labelled
from sim.arrays import BoolArray, FloatArray, frozen
from sim.blueprint.build_ups import build_up_in_words
from sim.errors import SceneError
from sim.showing.numbers import hertz, short_hertz, tenths
from sim.showing.words import CAUTIONS

ANGLES_DEG: Final = (0.0, 30.0, 45.0, 60.0)
POINTS_IN_AN_OCTAVE: Final = 24


@dataclass(frozen=True, slots=True, repr=False)
class AbsorberTable(Answer):
    """One absorber in octaves or third-octaves, for a panel without edges.

    Attributes
    ----------
    build_up
        What it is made of.
    bands
        The bands.
    angles_deg
        From the normal of the surface.
    level_db
        (angle, band) mean energy of the reflection over the band, dB re a hard wall at the same place and angle.
    absorption
        (band,) absorption coefficient at random incidence (0 to 78 degrees), mean over the band.
    holds
        (band,) whether the middle of the band lies within the range of all models.
    """

    question: ClassVar[str] = "absorber"

    build_up: BuildUp
    bands: Bands
    angles_deg: tuple[float, ...]
    level_db: FloatArray
    absorption: FloatArray
    holds: BoolArray

    def headline(self) -> str:
        """From where on it takes most of the energy."""
        taken = np.flatnonzero(self.absorption >= 0.8)
        start = f"from {hertz(self.bands.nominal_hz[taken[0]])} up" if len(taken) else "in no band"
        depth = 1000.0 * self.build_up.depth_m
        return f"{self.build_up.name}, {depth:.0f} mm deep: absorption coefficient of 0.8 or more {start}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each band: levels in dB re a hard wall, and the absorption coefficient."""
        return [
            {"band_hz": float(band)}
            | {f"level_at_{angle:g}_deg_db": float(self.level_db[at, n]) for at, angle in enumerate(self.angles_deg)}
            | {"absorption": float(self.absorption[n]), "holds": bool(self.holds[n])}
            for n, band in enumerate(self.bands.nominal_hz)
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {"band": (self.bands.nominal_hz, "Hz"), "angle": (list(self.angles_deg), "degrees")}

    def _arrays(self) -> Mapping[str, Labelled]:
        return {
            "level_db": (("angle", "band"), self.level_db, "dB re a hard wall"),
            "absorption": (("band",), self.absorption, ""),
        }


def absorber_table(build_up: BuildUp, air: Air, *, thirds: bool = False) -> AbsorberTable:
    """Work out one absorber in octaves 63 Hz to 8 kHz, or in third-octaves 50 Hz to 10 kHz."""
    bands = third_octave_bands(50, 10000) if thirds else octave_bands(63, 8000)
    points = POINTS_IN_AN_OCTAVE // 3 if thirds else POINTS_IN_AN_OCTAVE
    frequencies = sample_frequencies(bands, points)
    taken = random_incidence(build_up, frequencies.ravel(), air=air).reshape(frequencies.shape).mean(axis=1)
    levels = band_levels_db(build_up, bands, ANGLES_DEG, air, points)
    holds = within_range(build_up, bands.nominal_hz, air)
    return AbsorberTable(build_up, bands, ANGLES_DEG, frozen(levels), frozen(taken), holds)


def band_levels_db(
    build_up: BuildUp, bands: Bands, angles_deg: tuple[float, ...], air: Air, points_per_band: int = 8
) -> FloatArray:
    """Mean energy of the reflection over each band, in dB re a hard wall; shape (angle, band)."""
    frequencies = sample_frequencies(bands, points_per_band)
    factor = reflection_factor_at(build_up, frequencies.ravel(), np.radians(angles_deg), air)
    energy = np.abs(factor.reshape(len(angles_deg), *frequencies.shape)) ** 2
    return level_db(energy.mean(axis=2))


# One absorber by itself, asked for in words.


def absorber(words: str, *, thirds: bool = False) -> AbsorberTable:
    """What an absorber returns and takes, by frequency and angle: `absorber("100 mm wool, 100 mm gap")`.

    `words` are a name of the library, or layers from the room to the wall.  In octaves, or third-octaves with `thirds`;
    in air of 20 degrees Celsius.

    Raises
    ------
    SceneError
        If the words are not understood.
    """
    try:
        build_up = build_up_in_words(words)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError("absorber", found, remedy.rstrip(".") or "name a library build-up or its layers") from None
    return absorber_table(build_up, Air(), thirds=thirds)


# One build-up as lines for a terminal: what it is made of, what it leaves of a reflection, and where that ends.

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
        "Level of the reflection in dB re a hard wall, at angles from the normal; and the absorption coefficient",
        f"at random incidence (0 to {FIELD_INCIDENCE_DEG:g} degrees). Means over the band, panel without edges.",
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
        "more, because of diffraction at the edges of a sample."
    )
    if any(isinstance(layer, PorousLayer | Cloth) for layer in build_up.layers):
        lines += [f"Caution: {caution}" for caution in CAUTIONS if caution.startswith(("Fibres", "Fire"))]
    return lines
