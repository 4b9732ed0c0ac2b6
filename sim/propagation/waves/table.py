"""What comes of waves: the paths by way of what stands near, with walls before and after, as gains at any frequency."""

from __future__ import annotations

from dataclasses import dataclass
from math import factorial

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
# With the travel time of the first sound taken out the samples are smooth.  A spline of degree seven through them is
# continued back to real frequencies, which takes that weight off again.  Pressures in time are real, so samples below
# zero are the conjugates of those above.  Such a spline errs by about 2 (x / (1 - x))^8 of what turns x times from one
# sample to the next (de Boor, A Practical Guide to Splines, 1978): little up to 0.25 turns, all at 0.5.  Turns are
# counted from `AHEAD` turns after the first sound, so that sound before it is right too; later ones are lost.

STEP_HZ, HARD_STEP_HZ = 37.5, 18.75
HARD_BELOW, HARD_OCTAVES = 0.1, slice(3, 6)
"""A floor, or a wall in the kernel, is hard where it takes less of the energy in an octave of 500 Hz to 2 kHz."""
DAMPING_PER_S = 100.0
AHEAD = 0.12
DEGREE = 7
AT_WHOLE = np.array([1.0, 120.0, 1191.0, 2416.0, 1191.0, 120.0, 1.0]) / 5040.0
"""The bump of which splines of degree seven are made, where it is not zero at whole steps."""
BINOMIALS = np.array([1.0, -8.0, 28.0, -56.0, 70.0, -56.0, 28.0, -8.0, 1.0])
FEWEST = 5


def step_hz(absorption: FloatArray) -> float:
    """How far apart waves are solved, by the octave coefficients (w, 8) of the floor and walls in the kernel."""
    return HARD_STEP_HZ if (absorption[:, HARD_OCTAVES] < HARD_BELOW).any() else STEP_HZ


def sampled_hz(to_hz: float, step: float = STEP_HZ) -> FloatArray:
    """Frequencies (g,) at which waves are solved, the first at 0 and the last at `to_hz` or just above."""
    return np.arange(max(int(np.ceil(to_hz / step - 1e-9)) + 1, FEWEST), dtype=np.float64) * step


def wavenumber_at(frequency_hz: float, speed_m_s: float) -> complex:
    """Complex wavenumber in 1/m of a sample."""
    return complex(2.0 * np.pi * frequency_hz / speed_m_s, -DAMPING_PER_S / speed_m_s)


def unrolled(values: ComplexArray, sampled: FloatArray, delays_s: FloatArray) -> ComplexArray:
    """Samples (q, g) with the travel time (q,) of each taken out, which also takes out how far that had faded."""
    s = 2j * np.pi * sampled + DAMPING_PER_S
    return np.asarray(values * np.exp((delays_s[:, None] + AHEAD / sampled[1]) * s))


def between(values: ComplexArray, sampled: FloatArray, frequencies_hz: FloatArray) -> ComplexArray:
    """Values (q, f) at real frequencies (f,) from samples of `unrolled` (q, g), the middle's turn put back."""
    both = np.concatenate([values[:, :0:-1].conj(), values[:, :1].real, values[:, 1:]], axis=1)
    grid = np.concatenate([-sampled[:0:-1], sampled])
    weights = spline_weights(grid, frequencies_hz, DAMPING_PER_S / (2.0 * np.pi))
    return np.asarray(both @ weights * np.exp(-2j * np.pi * frequencies_hz * AHEAD / sampled[1]))


def spline_weights(grid: FloatArray, frequencies_hz: FloatArray, beside: float) -> ComplexArray:
    """Weights (g, f) of values at even steps (g,) in their spline of degree seven, continued to places f + j `beside`.

    It is a sum of bumps about the steps and three more on each side, as large as makes it go through all values and
    have one polynomial over the first four steps, and over the last four ("not-a-knot": de Boor): where the seventh
    derivative does not jump, the eighth difference of the bumps' sizes is zero.  Nine values or more are needed.
    """
    g = len(grid)
    step = grid[1] - grid[0]
    through = np.zeros((g + 6, g + 6))
    for n in range(g):
        through[n + 3, n : n + DEGREE] = AT_WHOLE
    for n in range(3):
        through[n, n : n + 9] = BINOMIALS
        through[-1 - n, g - 3 - n : g + 6 - n] = BINOMIALS
    sizes = np.linalg.solve(through, np.eye(g + 6)[:, 3:-3])  # (bump, sample)
    place = np.clip(np.searchsorted(grid, frequencies_hz, side="right") - 1, 0, g - 2)
    ahead = (frequencies_hz - grid[place] + 1j * beside) / step
    found = np.zeros((len(frequencies_hz), g), dtype=np.complex128)
    for bump in range(DEGREE + 1):  # those that are not zero between this step and the next
        begun = ahead + (DEGREE - bump)  # how far behind us the bump begins, in steps
        terms = [BINOMIALS[k] * (begun - k) ** DEGREE for k in range(DEGREE + 1 - bump)]
        found += (sum(terms) / factorial(DEGREE))[:, None] * sizes[place + bump]
    return np.asarray(found.T)
