"""The curve at the ear alone, for a page that follows a hand: the sum of `frequency.ear_response` in milliseconds.

The travel time turns a path quickly, all else slowly: so gains without it are worked out at `POINTS` frequencies on a
logarithmic axis and taken between them by cubics, and each path's wave turns from one even frequency to the next.
Beside the sum of every path at every frequency third-octaves are off by less than 0.02 dB rms and 0.1 dB anywhere (in
two demo rooms 0.001 to 0.01, 0.035 at most), which a test holds; what is printed and saved is that sum.

Edges are summed on the grid on which they are kept, once for a table of them: `edge_curve` is good for as long as they
are.  Left out here: sound waves, and what each surface, piece and panel adds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sim.acoustics.bands import third_octave_bands
from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray, IntArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.frequency import (
    GRID_TO_HZ,
    HIGHEST_HZ,
    LATEST_MS,
    LOWEST_HZ,
    band_mean_weights,
    response_frequencies,
)
from sim.responses.window import window_weight

POINTS, FROM_HZ = 214, 20.0
"""Twenty-one to the octave, 20 Hz to 22 kHz; below, gains are taken as there."""


@printable
@dataclass(frozen=True, slots=True)
class EarCurve:
    """Complex response at the listeners, re the pressure of the direct sound on axis at its own distance.

    Attributes
    ----------
    frequencies_hz
        (f,) those of `EarResponse`.
    direct, total
        (loudspeaker, listener, f): direct sound as if nothing hid it; everything in the window.
    """

    frequencies_hz: FloatArray
    direct: ComplexArray
    total: ComplexArray

    def third_octaves_db(self) -> FloatArray:
        """Levels (loudspeaker, listener, band), 100 Hz to 16 kHz, re the direct sound in the same band."""
        return third_octave_db(self.direct, self.total)


def ear_curve(
    built: BuiltScene, paths: PathTable, edges: ComplexArray | None = None, window_ms: float = LATEST_MS
) -> EarCurve:
    """Sum mirrored paths at each listener up to `window_ms` after the direct sound, and edges (`edge_curve`) if given.

    Drivers are added up.  A driver's direct sound that something hides is in `direct` and not in `total`.
    """
    coarse = np.geomspace(FROM_HZ, GRID_TO_HZ, POINTS)
    gains = path_gains(built, paths, coarse, delayed=False)
    group = paths.loudspeaker * len(built.ears) + paths.listener
    weight = _in_window(built, group, paths.length_m, window_ms) * ~paths.blocked
    straight = np.flatnonzero(paths.order == 0)
    length = _past_direct(built, group, paths.length_m)
    heard = np.flatnonzero(weight > 0.0)
    direct = _summed(built, group[straight], gains[straight], length[straight], coarse)
    total = _summed(built, group[heard], gains[heard] * weight[heard, None], length[heard], coarse)
    if edges is not None:
        total = total + edges
    return EarCurve(frozen(response_frequencies()), frozen(direct), frozen(total))


def third_octave_db(direct: ComplexArray, total: ComplexArray) -> FloatArray:
    """Levels (..., band) of a response (..., f) in third-octaves, 100 Hz to 16 kHz, re the direct sound in the same."""
    weights = _band_weights()
    return np.asarray(level_db(np.abs(total) ** 2 @ weights.T / np.maximum(np.abs(direct) ** 2 @ weights.T, 1e-20)))


def edge_curve(built: BuiltScene, edge_paths: EdgePathTable, window_ms: float = LATEST_MS) -> ComplexArray:
    """What edges add to `EarCurve.total`, (loudspeaker, listener, f)."""
    hertz = edge_paths.frequencies_hz
    gains = edge_path_gains(built, edge_paths, hertz, delayed=False)
    group = edge_paths.loudspeaker * len(built.ears) + edge_paths.listener
    gains *= _in_window(built, group, edge_paths.length_m, window_ms)[:, None]
    return _summed(built, group, gains, _past_direct(built, group, edge_paths.length_m), hertz)


def _distances(built: BuiltScene) -> FloatArray:
    """From each loudspeaker's axis point to each listener, in metres, (loudspeaker * listener,)."""
    points = np.array([one.axis_point for one in built.loudspeakers])
    return np.asarray(np.linalg.norm(built.ears[None] - points[:, None], axis=2).ravel())


def _past_direct(built: BuiltScene, group: IntArray, length_m: FloatArray) -> FloatArray:
    return np.asarray(length_m - _distances(built)[group])


def _in_window(built: BuiltScene, group: IntArray, length_m: FloatArray, window_ms: float) -> FloatArray:
    """Weight (w,) of paths so long: that of the window, and 0 past `LATEST_MS`."""
    late_ms = 1000.0 * _past_direct(built, group, length_m) / built.air.speed_of_sound_m_s
    return np.asarray(window_weight(late_ms, window_ms) * (late_ms <= LATEST_MS))


def _summed(
    built: BuiltScene, group: IntArray, gains: ComplexArray, length_m: FloatArray, hertz: FloatArray
) -> ComplexArray:
    """Sum (loudspeaker, listener, f) of paths with gains (w, g) at frequencies (g,), re direct sound on axis at 1 m."""
    from sim.responses.curve_kernels import add_waves

    first, parts, frequencies = _between(hertz.tobytes())
    distances = _distances(built)
    total = np.zeros((len(distances), 2, len(frequencies)))
    wavenumbers = 2.0 * np.pi * frequencies / built.air.speed_of_sound_m_s
    some = np.ascontiguousarray(gains, dtype=np.complex128)
    add_waves(total, np.ascontiguousarray(group), some, np.ascontiguousarray(length_m), first, parts, wavenumbers)
    count = len(response_frequencies())
    summed = (total[:, 0] + 1j * total[:, 1])[:, :count] * distances[:, None]
    return np.asarray(summed.reshape(len(built.loudspeakers), len(built.ears), count))


@lru_cache(maxsize=4)
def _between(hertz: bytes) -> tuple[IntArray, FloatArray, FloatArray]:
    """First of four points (f,) about each even frequency, their weights (f, 4), and the frequencies, filled up to 8.

    Lagrange's cubic over the logarithm of frequency, the constant at the ends beyond them.
    """
    even = response_frequencies()
    frequencies = np.arange(-(-len(even) // 8) * 8) * (even[1] - even[0])
    knots = np.log(np.frombuffer(hertz))
    x = np.clip(np.log(np.maximum(frequencies, 1.0)), knots[0], knots[-1])
    first = np.clip(np.searchsorted(knots, x) - 2, 0, len(knots) - 4)
    near = knots[first[:, None] + np.arange(4)]
    parts = np.ones((len(x), 4))
    for n in range(4):
        for m in range(4):
            if m != n:
                parts[:, n] *= (x - near[:, m]) / (near[:, n] - near[:, m])
    return first, parts, frequencies


@lru_cache(maxsize=1)
def _band_weights() -> FloatArray:
    return band_mean_weights(response_frequencies(), third_octave_bands(LOWEST_HZ, HIGHEST_HZ))
