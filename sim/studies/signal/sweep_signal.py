"""The measuring signal with what to mind when it is played."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar, Final

from sim.answers import Answer
from sim.arrays import FloatArray, frozen
from sim.errors import SceneError
from sim.measuring.sweeps import DECAY_S, LOWEST_HZ, SignalParts, highest_hz, inverse_sweep, measuring_signal
from sim.measuring.wave_files import RATES_HZ
from sim.showing.numbers import hertz_range
from sim.showing.words import SWEEP_CAUTIONS

SECONDS: Final = (1.0, 60.0)
LEVELS_DBFS: Final = (-60.0, 0.0)


@dataclass(frozen=True, slots=True, repr=False)
class SweepSignal(Answer):
    """The measuring signal.

    Attributes
    ----------
    rate_hz
        Sampling rate in Hz.
    level_dbfs
        Its peak in dB re full scale.
    samples
        (n,) fractions of full scale.
    inverse
        (m,) filter that makes a pulse of height 1 of the sweep, at its last sample; for other programs.
    parts
        Where sweep and markers lie.
    from_hz, to_hz
        Ends of the sweep in Hz.
    """

    question: ClassVar[str] = "signal"

    rate_hz: int
    level_dbfs: float
    samples: FloatArray
    inverse: FloatArray
    parts: SignalParts
    from_hz: float
    to_hz: float

    @property
    def sweep_s(self) -> float:
        """Length of the sweep alone."""
        return (self.parts.sweep[1] - self.parts.sweep[0]) / self.rate_hz

    def headline(self) -> str:
        """What it is."""
        return (
            f"swept sine {hertz_range(self.from_hz, self.to_hz)}, {self.sweep_s:.1f} s of"
            f" {len(self.samples) / self.rate_hz:.1f} s, {self.rate_hz} Hz, peak {self.level_dbfs:g} dB re full scale"
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row for each part: its name, when it begins and ends in seconds."""
        named = [("marker", self.parts.markers[0]), ("sweep", self.parts.sweep), ("marker", self.parts.markers[1])]
        return [
            {"part": name, "begins_s": begin / self.rate_hz, "ends_s": end / self.rate_hz}
            for name, (begin, end) in named
        ]


def signal(*, rate_hz: int = 48_000, seconds: float = 10.0, level_dbfs: float = -12.0) -> SweepSignal:
    """Make the signal to measure with: an exponential swept sine between two markers.

    Parameters
    ----------
    rate_hz
        Sampling rate: 44100, 48000, 88200, 96000, 176400 or 192000 Hz.
    seconds
        Length of the sweep, 1 to 60 s; a longer one stands further above the noise.
    level_dbfs
        Its peak, -60 to 0 dB re full scale.

    Raises
    ------
    SceneError
        For a rate, length or level that cannot be.
    """
    if rate_hz not in RATES_HZ:
        raise SceneError("rate_hz", f"it is {rate_hz:g}", f"give one of {', '.join(str(rate) for rate in RATES_HZ)}")
    if not (math.isfinite(seconds) and SECONDS[0] <= seconds <= SECONDS[1]):
        raise SceneError("seconds", f"it is {seconds:g}", f"give {SECONDS[0]:g} to {SECONDS[1]:g}")
    if not (math.isfinite(level_dbfs) and LEVELS_DBFS[0] <= level_dbfs <= LEVELS_DBFS[1]):
        raise SceneError("level_dbfs", f"it is {level_dbfs:g}", f"give {LEVELS_DBFS[0]:g} to {LEVELS_DBFS[1]:g}")
    samples, parts = measuring_signal(rate_hz, seconds, level_dbfs)
    inverse = frozen(inverse_sweep(rate_hz, seconds) / 10.0 ** (level_dbfs / 20.0))
    return SweepSignal(rate_hz, level_dbfs, samples, inverse, parts, LOWEST_HZ, highest_hz(rate_hz))


def signal_lines(made: SweepSignal) -> list[str]:
    """What the command says: the answer first, then how to use it, then what to mind."""
    headline = made.headline()
    return [
        f"{headline[:1].upper()}{headline[1:]}.",
        "",
        "How to measure",
        "  Microphone where the ear is in the scene, held as its maker says; chair and everything else in place.",
        "  Play the file through one monitor and record from before it starts until it ends, at the same rate, without",
        f"  effects or automatic level. Keep silent for the {DECAY_S:g} s after the sweep too.",
        "  If there is a free channel, record what is sent on it over a cable: it tells the time of flight.",
        "  Then: bounceplan impulse recording.wav --signal sine.wav -o response.wav",
        "  The inverse is for other programs; impulse does not need it.",
        "",
        "Before you play it",
        *(f"  {caution}" for caution in SWEEP_CAUTIONS),
    ]
