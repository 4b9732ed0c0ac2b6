"""What comes of waves: the paths by way of what stands near, with walls before and after, as gains at any frequency."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray
from sim.propagation.paths import PathTable
from sim.propagation.waves.cluster import Cluster, mesh_note


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
        sentences = [self._less, mesh_note(self.cluster.left_out)]
        return "; ".join(sentence for sentence in sentences if sentence)

    @property
    def _less(self) -> str:
        """What waves were worked out round, and to where, if that is less than was asked for."""
        left = self.cluster.left_to_edges
        if self.to_hz >= self.asked_hz and not left:
            return ""
        instead = f" instead of {self.asked_hz:.0f} Hz" if self.to_hz < self.asked_hz else ""
        begin = f"sound waves round {_joined(self.cluster.bodies)} were worked out up to {self.to_hz:.0f} Hz{instead},"
        if not left:
            return f"{begin} for so much stands near that more would take too long; above, edges stand for them"
        stands = f"{_joined(left)} {'stand' if len(left) > 1 else 'stands'} near"
        return f"{begin} and {stands} too, with which it would take too long; edges stand for the rest"


def _joined(names: tuple[str, ...]) -> str:
    """Names of bodies in a sentence, each once."""
    return " and ".join(dict.fromkeys(names))


def fade(frequencies_hz: FloatArray, alone_hz: float) -> FloatArray:
    """Weights (f,) of waves: 1 up to a frequency, falling to 0 at `FADE` times that, by the square of a cosine."""
    share = np.clip(np.log(np.maximum(frequencies_hz, 1e-9) / alone_hz) / np.log(FADE), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * share) ** 2)


FADE = 1.2
"""Over this ratio of frequencies waves hand over to edges."""


# From few frequencies to many: where waves are solved, and what holds in between.
#
# The space between a desk and a hard floor rings, so samples at real frequencies would have to stand close together.
# They are taken at complex ones, f - j sigma / (2 pi): what arrives a time t after the first sound counts e^{-sigma t}.
# With the travel time of the first sound taken out the samples are smooth, and a cubic spline through them is continued
# back to real frequencies, which takes that weight off again.  Sound that comes 6 ms after the first of its own path is
# right to 0.4 %, at 8 ms to 2 %, at 12 ms to 15 %; what rings later than that is partly lost.  Where a wall in the
# kernel takes little, samples lie half as far apart: 3 % at 12 ms, 13 % at 18 ms.

STEP_HZ = 37.5
DAMPING_PER_S = 100.0
AHEAD_S = 0.002
"""The middle of what arrives lies so long after its beginning; there samples turn least."""


def sampled_hz(to_hz: float, *, ringing: bool = False) -> FloatArray:
    """Frequencies (g,) at which waves are solved, the first at 0 and the last at `to_hz` or just above.

    ringing: half as far apart.
    """
    step = 0.5 * STEP_HZ if ringing else STEP_HZ
    return np.arange(int(np.ceil(to_hz / step - 1e-9)) + 1, dtype=np.float64) * step


def wavenumber_at(frequency_hz: float, speed_m_s: float) -> complex:
    """Complex wavenumber in 1/m of a sample."""
    return complex(2.0 * np.pi * frequency_hz / speed_m_s, -DAMPING_PER_S / speed_m_s)


def unrolled(values: ComplexArray, sampled: FloatArray, delays_s: FloatArray) -> ComplexArray:
    """Samples (q, g) with the travel time (q,) of each taken out, which also takes out how far that had faded."""
    s = 2j * np.pi * sampled + DAMPING_PER_S
    return np.asarray(values * np.exp((delays_s[:, None] + AHEAD_S) * s))


def between(values: ComplexArray, sampled: FloatArray, frequencies_hz: FloatArray) -> ComplexArray:
    """Values (q, f) at real frequencies (f,) from samples of `unrolled` (q, g), the middle's turn put back."""
    weights = spline_weights(sampled, frequencies_hz, DAMPING_PER_S / (2.0 * np.pi))
    return np.asarray(values @ weights * np.exp(-2j * np.pi * frequencies_hz * AHEAD_S))


def spline_weights(sampled: FloatArray, frequencies_hz: FloatArray, beside: float) -> ComplexArray:
    """Weights (g, f) of values at even steps (g,) in their cubic spline, continued to places f + j `beside`.

    Second derivatives are continuous, and third ones also at the first and the last place but one ("not-a-knot": de
    Boor, A Practical Guide to Splines, 1978).  Fewer than four values have one polynomial.
    """
    g = len(sampled)
    step = sampled[1] - sampled[0]
    place = np.clip(np.searchsorted(sampled, frequencies_hz, side="right") - 1, 0, max(g - 2, 0))
    ahead = (frequencies_hz - sampled[place] + 1j * beside) / step
    eye = np.eye(g)
    if g < 4:
        shares = (frequencies_hz - sampled[0] + 1j * beside) / step
        others = [[m for m in range(g) if m != n] for n in range(g)]
        return np.array([np.prod([(shares - m) / (n - m) for m in rest], axis=0) for n, rest in enumerate(others)])
    bends = np.zeros((g, g))  # rows of equations for the second derivatives times the square of the step
    bends[np.arange(1, g - 1), np.arange(g - 2)] = bends[np.arange(1, g - 1), np.arange(2, g)] = 1.0
    bends[np.arange(1, g - 1), np.arange(1, g - 1)] = 4.0
    bends[0, :3] = bends[-1, -3:] = 1.0, -2.0, 1.0
    sides = np.zeros((g, g))
    sides[1:-1] = 6.0 * (eye[:-2] - 2.0 * eye[1:-1] + eye[2:])
    curved = np.linalg.solve(bends, sides)  # (g, sample)
    back = 1.0 - ahead
    found = back[:, None] * eye[place] + ahead[:, None] * eye[place + 1]
    found += ((back**3 - back)[:, None] * curved[place] + (ahead**3 - ahead)[:, None] * curved[place + 1]) / 6.0
    return np.asarray(found.T)
