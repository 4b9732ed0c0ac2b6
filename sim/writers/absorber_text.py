"""One build-up as lines for a terminal: what it is made of, what it leaves of a reflection, and where that ends."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..acoustics.air import Air
from ..acoustics.bands import Bands, octave_bands, sample_frequencies, third_octave_bands
from ..acoustics.decibels import level_db
from ..acoustics.layered_reflection import FIELD_INCIDENCE_DEG, random_incidence, reflection_factor_at
from ..acoustics.layers import BuildUp, Cloth, PorousLayer, layer_words
from ..acoustics.model_range import out_of_range, within_range
from ..acoustics.resonators import tuning
from ..arrays import BoolArray, FloatArray
from .remarks import CAUTIONS

ANGLES_DEG: Final = (0.0, 30.0, 45.0, 60.0)
POINTS_IN_AN_OCTAVE: Final = 24
BELIEVED_DB: Final = -20.0
"""Reflections weaker than this are lost among those of edges, frame and cloth (common practice, no source)."""
OUT_OF_RANGE_MARK: Final = "*"


def absorber_lines(build_up: BuildUp, air: Air) -> list[str]:
    """Lines on one build-up: layers, tuning, tables in octaves and third-octaves, range of the models, cautions.

    Levels are means of energy over each band, in dB re a hard wall at the same place and angle, for a panel without
    edges; coefficients are of random incidence up to 78 degrees.
    """
    octaves, thirds = octave_bands(63, 8000), third_octave_bands(50, 10000)
    lines = [build_up.name, *_what_it_is(build_up, air), ""]
    lines += [
        "Level of the mirrored sound in dB re a hard wall, at angles from the normal; and the share of energy",
        f"taken at random incidence (0 to {FIELD_INCIDENCE_DEG:g} degrees). Means over the band, panel without edges.",
        "",
        "Octaves",
        *_table(build_up, octaves, POINTS_IN_AN_OCTAVE, air),
        "",
        "Third-octaves",
        *_table(build_up, thirds, POINTS_IN_AN_OCTAVE // 3, air),
        "",
        *_remarks(build_up, octaves, thirds, air),
    ]
    return lines


def band_levels_db(
    build_up: BuildUp, bands: Bands, angles_deg: tuple[float, ...], air: Air, points_per_band: int = 8
) -> FloatArray:
    """Mean energy of the reflection over each band, in dB re a hard wall; shape (angle, band)."""
    frequencies = sample_frequencies(bands, points_per_band)
    factor = reflection_factor_at(build_up, frequencies.ravel(), np.radians(angles_deg), air)
    energy = np.abs(factor.reshape(len(angles_deg), *frequencies.shape)) ** 2
    return level_db(energy.mean(axis=2))


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


def _table(build_up: BuildUp, bands: Bands, points: int, air: Air) -> list[str]:
    levels = band_levels_db(build_up, bands, ANGLES_DEG, air, points)
    frequencies = sample_frequencies(bands, points)
    taken = random_incidence(build_up, frequencies.ravel(), air=air).reshape(frequencies.shape).mean(axis=1)
    good = _held(build_up, bands, air)
    header = f"{'Hz':>9}" + "".join(f"{f'{angle:.0f} deg':>9}" for angle in ANGLES_DEG) + f"{'random':>9}"
    rows = [header]
    for band, nominal in enumerate(bands.nominal_hz):
        mark = " " if good[band] else OUT_OF_RANGE_MARK
        cells = "".join(f"{_rounded(float(levels[angle, band])):>9}" for angle in range(len(ANGLES_DEG)))
        rows.append(f"{_hertz(float(nominal)):>8}{mark}{cells}{max(float(taken[band]), 0.0):9.2f}")
    return rows


def _held(build_up: BuildUp, bands: Bands, air: Air) -> BoolArray:
    """Whether the models hold in the middle of each band, where it is named."""
    return within_range(build_up, bands.nominal_hz, air)


def _remarks(build_up: BuildUp, octaves: Bands, thirds: Bands, air: Air) -> list[str]:
    lines = [f"Note: {sentence}" for sentence in out_of_range(build_up, thirds.nominal_hz, air)]
    if not (_held(build_up, octaves, air).all() and _held(build_up, thirds, air).all()):
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


def _rounded(level: float) -> str:
    """One decimal, and never a minus zero."""
    text = f"{level:.1f}"
    return "0.0" if text == "-0.0" else text


def _hertz(frequency: float) -> str:
    return f"{frequency / 1000.0:g}k" if frequency >= 1000.0 else f"{frequency:g}"
