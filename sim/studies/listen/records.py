"""What was made to be listened to, file by file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from sim.answers import Answer, printable
from sim.arrays import FloatArray


@printable
@dataclass(frozen=True, slots=True)
class Rendering:
    """One file to listen to.

    Attributes
    ----------
    name
        Of the file.
    words
        What it is.
    gain_db
        What was added so that it is as loud as the others.
    true_peak_db
        Its highest value between samples too, dB re full scale.
    samples
        (2, n) left and right, fractions of full scale.
    """

    name: str
    words: str
    gain_db: float
    true_peak_db: float
    samples: FloatArray


@dataclass(frozen=True, slots=True, repr=False)
class Listening(Answer):
    """A programme as the early sound of a scene would make it, in files that are equally loud.

    Attributes
    ----------
    scene, against
        Titles of the scene and of the layout it is held against; empty where there is none.
    programme
        Name of the file that was brought.
    rate_hz
        Its sampling rate in Hz, which is that of all.
    seconds
        Its length.
    listener
        Name of the place where it is heard.
    playing
        Names of the loudspeakers that play the left channel and the right; the same twice where there is one.
    silent
        Names of loudspeakers between them, which play nothing.
    channels
        Numbers of the programme's channels that hold sound, from 0; (0,) alone of two is the left one.
    channel_count
        How many channels it has.
    window_ms
        How much of the sound after the direct one is in it.
    transition_hz
        Below this nothing is judged.
    own_lufs, loudness_lufs
        Integrated loudness of what was brought, and of every file made.
    head
        Name of the file of head-related responses; empty where there is none.
    farthest_deg
        How far strong paths are from directions that were measured with it, at most.
    files
        What was made.
    """

    question: ClassVar[str] = "listen"

    scene: str
    against: str
    programme: str
    rate_hz: int
    seconds: float
    listener: str
    playing: tuple[str, str]
    silent: tuple[str, ...]
    channels: tuple[int, ...]
    channel_count: int
    window_ms: float
    transition_hz: float
    own_lufs: float
    loudness_lufs: float
    head: str
    farthest_deg: float
    files: tuple[Rendering, ...]

    def headline(self) -> str:
        """How many files, how loud."""
        return f"{len(self.files)} files, all at {self.loudness_lufs:.1f} LUFS, of {self.seconds:.1f} s each"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each file: its name, what it is, gain and true peak in dB."""
        return [
            {"file": one.name, "what": one.words, "gain_db": one.gain_db, "true_peak_db": one.true_peak_db}
            for one in self.files
        ]
