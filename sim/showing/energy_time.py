"""Energy-time curves as pictures and the report show them: how far they go, and how a peak is named."""

from __future__ import annotations

from typing import Final

from sim.responses.ear_records import Peak
from sim.responses.records import Results

BEFORE_MS: Final = -1.0
FLOOR_DB, CEILING_DB = -40.0, 6.0


def last_shown_ms(results: Results) -> float:
    """End of the time axis: a quarter beyond the target window, as far as the curves go."""
    curve, target = results.responses.energy_time, results.scene.blueprint.target
    return float(min(curve.time_ms[-1], max(target.window_ms[1] * 1.25, 12.0)))


def peak_mark(peak: Peak) -> str:
    """Numbers of the arrivals that a peak is named after: "3", or "3+5" when two merge; "?" for none, "0" direct."""
    return "+".join(str(number) for number in peak.arrivals[:2]) or "?"
