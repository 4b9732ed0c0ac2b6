"""What comes of waves: the paths by way of what stands near, with walls before and after, as gains at any frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.propagation.paths import PathTable
from sim.propagation.waves.cluster import Cluster


@printable
@dataclass(frozen=True, slots=True)
class WavePaths:
    """One row for each way to what stands near and on to an ear; walls before and after are image sources and ears.

    Attributes
    ----------
    cluster
        What stands near.
    to_hz
        Up to here there are six elements to the wavelength, or more.
    alone_hz
        Up to here waves are used alone; above they hand over to edges, see `fade`.
    asked_hz
        Up to where they were asked for.
    elements
        Number of elements at the highest frequency.
    loudspeaker, driver, listener
        (q,) numbers, as in PathTable.
    length_m
        (q,) about the shortest way by what stands near; the straight one where the row holds a driver's own sound too,
        which it does where its cabinet stands near.
    facets
        (q, K) facets of the room's walls that are met on the way, -1 where none.
    frequencies_hz, gains
        (f,) and complex (q, f): pressures as in `path_gains`, up to the end of the fade.
    others
        Paths of the room without what stands near that are not among these, and their facets' numbers in the room.
    other_gains
        (p, f) their gains.
    """

    cluster: Cluster
    to_hz: float
    alone_hz: float
    asked_hz: float
    elements: int
    loudspeaker: IntArray
    driver: IntArray
    listener: IntArray
    length_m: FloatArray
    facets: IntArray
    frequencies_hz: FloatArray
    gains: ComplexArray
    others: PathTable
    other_gains: ComplexArray

    def __len__(self) -> int:
        return len(self.length_m)

    @property
    def note(self) -> str:
        """What was done instead, in a sentence, where it is not what was asked for; else empty."""
        if self.to_hz >= self.asked_hz:
            return ""
        return (
            f"sound waves round {' and '.join(dict.fromkeys(self.cluster.bodies))} were worked out up to"
            f" {self.to_hz:.0f} Hz instead of {self.asked_hz:.0f} Hz, for so much stands near that more would take"
            " too long; above, edges stand for them"
        )


def fade(frequencies_hz: FloatArray, alone_hz: float) -> FloatArray:
    """Weights (f,) of waves: 1 up to a frequency, falling to 0 at `FADE` times that, by the square of a cosine."""
    share = np.clip(np.log(np.maximum(frequencies_hz, 1e-9) / alone_hz) / np.log(FADE), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * share) ** 2)


FADE = 1.2
"""Over this ratio of frequencies waves hand over to edges."""
