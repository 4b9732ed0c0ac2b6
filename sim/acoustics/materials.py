"""Materials by trade name: random-incidence absorption and scattering in octaves, and the reflection factor."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, cast

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.bands import octave_bands
from sim.acoustics.levels import HIGHEST_LAB_ABSORPTION
from sim.arrays import FloatArray, IntArray, frozen

if TYPE_CHECKING:
    from collections.abc import Mapping

ABSORPTION_OCTAVES_HZ: Final[tuple[float, ...]] = (63, 125, 250, 500, 1000, 2000, 4000, 8000)
"""Nominal octaves of every absorption row."""

HELD_ENDS_NOTE: Final = "63 Hz and 8 kHz are held from the neighbouring octaves."
"""Added to the note of each row that is printed from 125 Hz to 4 kHz only."""

FLAT_SCATTERING: Final = 0.05
"""Scattering coefficient, in every octave, of large flat surfaces and of all that nobody has told one for.

No real wall is a perfect mirror: joints, sockets, skirting and what hangs there always scatter a little (common
practice, no source; flat surfaces are taken from 0.02 to 0.10).
"""


@dataclass(frozen=True)
class Material:
    """A surface: absorption coefficients at random incidence for the octaves 63 Hz to 8 kHz, and their source.

    Values above 1, as reverberation rooms give them, are kept as printed; see `reflection_factor`.  `scattering` is
    the share of the reflected energy that does not leave like from a mirror, at random incidence, in the same octaves
    (ISO 17497-1:2004).  Raises ValueError when there are not eight of either, an absorption coefficient is below zero
    or not a number, or a scattering coefficient is not from 0 to 1.
    """

    name: str
    absorption: tuple[float, ...]
    source: str
    note: str = ""
    scattering: tuple[float, ...] = (FLAT_SCATTERING,) * len(ABSORPTION_OCTAVES_HZ)
    scattering_source: str = "Taken as a large flat surface (common practice, no source)"

    def __post_init__(self) -> None:
        if len(self.absorption) != len(ABSORPTION_OCTAVES_HZ):
            raise ValueError(
                f"the material '{self.name}' has {len(self.absorption)} absorption coefficients; "
                "8 are needed, one for each octave from 63 Hz to 8 kHz"
            )
        if not all(np.isfinite(value) and value >= 0.0 for value in self.absorption):
            raise ValueError(
                f"the material '{self.name}' has an absorption coefficient below zero or not a number; "
                "give values from 0 (reflects all) to 1 (reflects nothing)"
            )
        if len(self.scattering) != len(ABSORPTION_OCTAVES_HZ) or not all(0.0 <= s <= 1.0 for s in self.scattering):
            raise ValueError(
                f"the material '{self.name}' needs 8 scattering coefficients from 0 (mirror-like) to 1 (all "
                f"scattered), "
                "one for each octave from 63 Hz to 8 kHz"
            )


def eight_octaves(absorption: tuple[float, ...]) -> tuple[float, ...]:
    """Complete a row printed for six octaves (125 Hz to 4 kHz) by holding its ends; leave eight as they are.

    Raises ValueError for any other number.
    """
    if len(absorption) == 8:
        return absorption
    if len(absorption) == 6:
        return (absorption[0], *absorption, absorption[-1])
    raise ValueError(
        f"{len(absorption)} absorption coefficients; give 6 (octaves 125 Hz to 4 kHz) or 8 (63 Hz to 8 kHz)"
    )


@lru_cache(maxsize=1)
def library() -> Mapping[str, Material]:
    """Every material that comes with the program, by its lower-case trade name (read once, read-only)."""
    return MappingProxyType({name: _material(name, row) for name, row in _rows().items()})


@lru_cache(maxsize=1)
def everyday_names() -> Mapping[str, str]:
    """Everyday names in both Englishes, such as "drywall", each with the row of the library it is taken as."""
    return MappingProxyType(
        {called: name for name, row in _rows().items() for called in cast("list[str]", row.get("called", []))}
    )


def library_name(name: str) -> str | None:
    """The library's name for a material however written, or for its everyday name; None where nothing is called so."""
    plain = " ".join(name.lower().split())
    plain = everyday_names().get(plain, plain)
    return plain if plain in library() else None


@lru_cache(maxsize=1)
def _rows() -> dict[str, dict[str, object]]:
    return tomllib.loads(resources.files("sim.acoustics").joinpath("materials.toml").read_text(encoding="utf-8"))


def _material(name: str, row: dict[str, object]) -> Material:
    printed = tuple(float(value) for value in cast("list[float]", row["absorption"]))
    notes = [str(row.get("note", ""))]
    if len(printed) < len(ABSORPTION_OCTAVES_HZ):
        notes.append(HELD_ENDS_NOTE)
    material = Material(
        name=name,
        absorption=eight_octaves(printed),
        source=str(row["source"]),
        note=" ".join(note for note in notes if note),
    )
    if "scattering" not in row:
        return material
    scattering = tuple(float(value) for value in cast("list[float]", row["scattering"]))
    return replace(material, scattering=scattering, scattering_source=str(row["scattering_source"]))


def find_material(name: str) -> Material:
    """Return the library's material of this trade or everyday name; capitals and stray blanks do not matter.

    Raises KeyError whose one argument is a sentence part that names the closest matches.
    """
    found = library_name(name)
    if found is not None:
        return library()[found]
    raise KeyError(f"no material is called '{name}'; {_suggestion(' '.join(name.lower().split()))}")


def _suggestion(wanted: str) -> str:
    import difflib  # only needed when something went wrong

    names = list(library())
    sharing_words = [name for name in names if any(len(w) > 3 and w in name for w in wanted.split())]
    close = difflib.get_close_matches(wanted, names, n=4, cutoff=0.5)
    everyday = difflib.get_close_matches(wanted, list(everyday_names()), n=1, cutoff=0.7)
    nearest = list(dict.fromkeys([*everyday, *close, *sharing_words]))[:5]
    if nearest:
        return "the closest are " + ", ".join(f"'{name}'" for name in nearest)
    return "the library has " + ", ".join(f"'{name}'" for name in sorted(names))


@lru_cache(maxsize=64)
def _between_octaves(packed: bytes) -> tuple[IntArray, FloatArray]:
    """Octave (f,) below each frequency, given as bytes, and how far it is from there to the next one."""
    centres = np.log(octave_bands(63, 8000).exact_hz)
    within = np.clip(np.frombuffer(packed, dtype=np.float64), np.exp(centres[0]), np.exp(centres[-1]))
    position = np.interp(np.log(within), centres, np.arange(len(centres)))
    below = np.minimum(position.astype(np.int64), len(centres) - 2)
    return frozen(below), frozen(position - below)


def reflection_factor(absorption: ArrayLike, frequencies_hz: ArrayLike) -> FloatArray:
    """Pressure reflection factor sqrt(1 - alpha), real, positive; shapes (..., 8) and (f,) give (..., f).

    The coefficient is interpolated linearly over the logarithm of frequency between the exact mid frequencies
    of the octaves and held outside them.  Lab coefficients above 0.99 are cut to 0.99, so a panel keeps a
    reflection of -20 dB at least; only a surface with exactly 1 in all eight octaves (an opening) reflects
    nothing.

    What is neglected: random-incidence coefficients know neither the angle nor the phase of a reflection
    (Kuttruff, Room Acoustics), so the level of one mirrored path may be off by a few decibels.

    Raises ValueError when the last axis does not hold eight coefficients.
    """
    rows = np.asarray(absorption, dtype=np.float64)
    if rows.shape[-1:] != (len(ABSORPTION_OCTAVES_HZ),):
        raise ValueError(f"absorption has the shape {rows.shape}; its last axis must hold 8 octaves")
    openings = np.all(rows == 1.0, axis=-1, keepdims=True)
    believed = np.where(openings, 1.0, np.minimum(rows, HIGHEST_LAB_ABSORPTION))

    below, fraction = _between_octaves(np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64)).tobytes())
    coefficient = believed[..., below] * (1.0 - fraction) + believed[..., below + 1] * fraction
    factor: FloatArray = np.sqrt(np.maximum(1.0 - coefficient, 0.0))
    return factor
