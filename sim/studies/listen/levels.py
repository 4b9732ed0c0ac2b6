"""Files that are as loud as each other, no louder than what was brought, and that clip nowhere.

Loudness is that of ITU-R BS.1770-4, by a library (K-weighting, blocks of 0.4 s, both gates; the filters that give the
recommendation's coefficients at 48 kHz).  The true peak is read from eight times as many samples: its annex 2 asks for
four, which may miss 0.6 dB, and eight may miss 0.17 dB (20 log10 cos(pi/16)).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.signal import resample_poly

from sim.arrays import FloatArray
from sim.errors import SceneError

SHORTEST_S: Final = 0.5
"""Loudness is told of blocks of 0.4 s."""
HIGHEST_PEAK_DB: Final = -1.0
"""True peak, dB re full scale: what most who deliver programmes ask for (EBU R 128)."""
MISSED_DB: Final = 0.2
FINER: Final = 8
STEP: Final = 1 << 18
AROUND: Final = 64


def loudness_lufs(samples: FloatArray, rate_hz: int) -> float:
    """Integrated loudness of one or two channels (channel, n); minus infinity where nothing passes the gate."""
    from pyloudnorm import Meter  # loaded where a level is asked for

    loudness = float(Meter(rate_hz, filter_class="DeMan").integrated_loudness(np.ascontiguousarray(samples.T)))
    return loudness if math.isfinite(loudness) else -math.inf


def true_peak_db(samples: FloatArray) -> float:
    """Highest value of channels (channel, n) between their samples too, dB re full scale."""
    highest = 0.0
    for begin in range(0, samples.shape[1], STEP):
        some = samples[:, max(0, begin - AROUND) : begin + STEP + AROUND]
        highest = max(highest, float(np.abs(resample_poly(some, FINER, 1, axis=1)).max()))
    return 20.0 * math.log10(max(highest, 1e-12))


def common_loudness(
    own_lufs: float, loudness_lufs: Sequence[float], peaks_db: Sequence[float]
) -> tuple[float, list[float]]:
    """The loudness to which all files are brought, and the gain of each in dB.

    It is that of what was brought, or less where one file's true peak would pass -1 dB.

    Raises
    ------
    SceneError
        If one of them has no loudness.
    """
    if not (math.isfinite(own_lufs) and all(map(math.isfinite, loudness_lufs))):
        raise SceneError("programme", "it is too quiet for its loudness to be told", "bring something louder")
    room = [HIGHEST_PEAK_DB - MISSED_DB - peak + loud for loud, peak in zip(loudness_lufs, peaks_db, strict=True)]
    wanted = min([own_lufs, *room])
    return wanted, [wanted - loud for loud in loudness_lufs]
