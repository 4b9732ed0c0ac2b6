"""How much more a level moves in one small step than in the steps beside it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.responses.ear_records import EarResponse

PLACES_M = (-1.7e-4, -0.7e-4, 0.3e-4, 1.3e-4)
"""A border at 0 lies in the middle one of three steps of a tenth of a millimetre."""


def spot_levels_db(response: EarResponse) -> np.ndarray:
    """Levels (40,) re the direct sound from 150 Hz to 8 kHz, of the first loudspeaker at the first seat."""
    some = np.searchsorted(response.frequencies_hz, np.geomspace(150.0, 7900.0, 40))
    return np.asarray(20.0 * np.log10(np.abs(response.total[0, 0] / response.direct[0, 0])[some]))


def heard_steps_db(levels: Sequence[np.ndarray]) -> np.ndarray:
    """Steps (3, n) between the levels at four places, where 15 dB under the direct sound or more is left at all."""
    heard = np.array(levels).min(axis=0) > -15.0
    assert heard.sum() > 30
    return np.asarray(np.diff(levels, axis=0)[:, heard])


def middle_step_db(steps: np.ndarray) -> float:
    """Most by which the middle step differs from the mean of the two beside it."""
    return float(np.abs(steps[1] - 0.5 * (steps[0] + steps[2])).max())
