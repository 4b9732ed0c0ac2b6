"""How long paths are when what a tape told is a little off: seat, loudspeakers, surfaces, and the air's temperature.

A path that flat surfaces reflect is as long as the straight line from its last image source to the ear (Allen and
Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950).  A surface n . x = d takes a point s to s - 2 (n . s - d) n, so that
a surface moved by t along its normal moves that image by 2 t n, and the length grows by 2 (n . u) t, with u the unit
vector from the ear to the image.  Through the surfaces before it u is mirrored back; what is left of it at the source
is the growth by moving that.  Delays are lengths less the direct one over the speed of sound, 343.2 sqrt(T/293.15) m/s
(ISO 9613-1:1993, Annex A).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sim.acoustics.levels import REFERENCE_SPEED_OF_SOUND_M_S, REFERENCE_TEMPERATURE_K, ZERO_CELSIUS_K
from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, IntArray, frozen

SEAT: Final = (0, 1, 2)
TEMPERATURE: Final = 3
FIRST_OTHER: Final = 4
"""Quantities are in this order: three lengths of the seat, temperature, three lengths of each loudspeaker, surfaces."""
NONE: Final = -1
KNOWN: Final = -2
"""In place of a surface's number: no further surface; and one from which everything is measured, so it stays."""


@printable
@dataclass(frozen=True, slots=True)
class PathLengths:
    """Paths over flat surfaces, each from one loudspeaker to the ear, as functions of what may be off.

    Attributes
    ----------
    ear
        (3,) in metres, as given.
    temperature_c
        As given.
    sources
        (c, 3) the point of the loudspeaker that each path leaves.
    loudspeaker
        (c,) number of the loudspeaker among those that were measured.
    normals, offsets_m
        (c, K, 3) and (c, K) planes in the order in which a path meets them; anything where there is none.
    surface
        (c, K) number of the surface among those that may be off, or `KNOWN` or `NONE`.
    loudspeakers, surfaces
        How many of each.
    """

    ear: FloatArray
    temperature_c: float
    sources: FloatArray
    loudspeaker: IntArray
    normals: FloatArray
    offsets_m: FloatArray
    surface: IntArray
    loudspeakers: int
    surfaces: int

    @property
    def quantities(self) -> int:
        """How many numbers may be off."""
        return FIRST_OTHER + 3 * self.loudspeakers + self.surfaces

    def chosen(self, rows: IntArray | BoolArray) -> PathLengths:
        """The same with only some of the paths."""
        names = ("sources", "loudspeaker", "normals", "offsets_m", "surface")
        return replace(self, **{name: frozen(getattr(self, name)[rows]) for name in names})

    def of_loudspeaker(self, number: int) -> slice:
        """Where its three lengths stand among the quantities."""
        return slice(FIRST_OTHER + 3 * number, FIRST_OTHER + 3 * number + 3)

    def of_surface(self, number: int) -> int:
        """Where the shift of a surface along its normal stands among the quantities."""
        return FIRST_OTHER + 3 * self.loudspeakers + number

    def delays_ms(self, off: FloatArray) -> FloatArray:
        """Delays (c,) in ms after the direct sound, `off` (q,) being how far each quantity is off, in m and K."""
        image, source, ear = self._images(off)
        longer = np.linalg.norm(image - ear, axis=1) - np.linalg.norm(source - ear, axis=1)
        return np.asarray(1.0e3 * longer / speed_of_sound_m_s(self.temperature_c + float(off[TEMPERATURE])))

    def slopes(self, off: FloatArray) -> FloatArray:
        """Growth (c, q) of the delays in ms by a metre, and by a kelvin, of each quantity."""
        image, source, ear = self._images(off)
        length, straight = np.linalg.norm(image - ear, axis=1), np.linalg.norm(source - ear, axis=1)
        ahead = (image - ear) / length[:, np.newaxis]
        direct = (source - ear) / straight[:, np.newaxis]
        kelvin = self.temperature_c + float(off[TEMPERATURE])
        per_metre = 1.0e3 / speed_of_sound_m_s(kelvin)
        rows = np.arange(len(length))
        slope = np.zeros((len(length), self.quantities))
        slope[:, SEAT] = -(ahead - direct) * per_metre
        for k in range(self.surface.shape[1])[::-1]:
            grows = 2.0 * np.einsum("cj,cj->c", self.normals[:, k], ahead) * (self.surface[:, k] != NONE)
            moves = np.flatnonzero(self.surface[:, k] >= 0)
            slope[moves, self.of_surface(0) + self.surface[moves, k]] += grows[moves] * per_metre
            ahead = ahead - grows[:, np.newaxis] * self.normals[:, k]
        for axis in range(3):
            slope[rows, FIRST_OTHER + 3 * self.loudspeaker + axis] += (ahead - direct)[:, axis] * per_metre
        slope[:, TEMPERATURE] = -0.5 * (length - straight) * per_metre / (kelvin + ZERO_CELSIUS_K)
        return slope

    def _images(self, off: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Last image source and source (c, 3) of each path, and the ear (3,)."""
        places = FIRST_OTHER + 3 * self.loudspeaker[:, np.newaxis] + np.arange(3)
        source = self.sources + off[places]
        image, shifts = source, np.append(off[self.of_surface(0) :], 0.0)
        for k in range(self.surface.shape[1]):
            moved = shifts[np.where(self.surface[:, k] >= 0, self.surface[:, k], self.surfaces)]
            above = np.einsum("cj,cj->c", self.normals[:, k], image) - (self.offsets_m[:, k] + moved)
            image = image - (2.0 * above * (self.surface[:, k] != NONE))[:, np.newaxis] * self.normals[:, k]
        return image, source, self.ear + off[list(SEAT)]


def speed_of_sound_m_s(temperature_c: float) -> float:
    """Speed of sound in m/s (ISO 9613-1:1993, Annex A), also where no room would be as cold or hot."""
    warmth = max(temperature_c + ZERO_CELSIUS_K, 1.0) / REFERENCE_TEMPERATURE_K
    return float(REFERENCE_SPEED_OF_SOUND_M_S * np.sqrt(warmth))
