"""What was made to be listened to, what to mind, and what neither headphones nor this model can tell."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from sim.showing.numbers import joined
from sim.studies.listen.records import Listening

CAUTION: Final = (
    "Turn the headphones down, start a file, then turn up, and no further than speech: at work 85 dB(A) over eight"
    " hours is the usual limit, and every 3 dB more halves the time."
)
NEAR_DEG: Final = 10.0


def listening_lines(made: Listening) -> list[str]:
    """What the command says."""
    return [*_answer(made), "", "Files", *_files(made), "", "Before you listen", f"  {CAUTION}", "", *_limits(made)]


def _answer(made: Listening) -> Iterator[str]:
    headline = made.headline()
    yield f"{headline[:1].upper()}{headline[1:]}."
    left, right = made.playing
    if left == right:
        who = f"{left} plays it"
    elif made.channel_count == 1:
        who = f"{left} and {right} both play its only channel"
    else:
        who = f"{left} plays its left channel, {right} its right one"
    yield f"{made.programme} at the {made.listener}: {who}."
    if made.channel_count > len(made.channels):
        yield f"Its {'right' if made.channels == (0,) else 'left'} channel is silent, and so is that monitor."
    if made.silent:
        verb = "is" if len(made.silent) == 1 else "are"
        yield f"{joined(list(made.silent))} {verb} silent: a programme has two sides."
    lower = made.own_lufs - made.loudness_lufs
    held = f", {lower:.1f} dB under your file, so that no peak comes within 1 dB of full scale" if lower > 0.05 else ""
    yield (
        f"Equally loud by ITU-R BS.1770: {made.loudness_lufs:.1f} LUFS{held}. What you hear is how the sound differs,"
        " not how loud it is."
    )


def _files(made: Listening) -> Iterator[str]:
    widest = max(len(one.name) for one in made.files)
    for one in made.files:
        yield f"  {one.name:<{widest}}  {one.words} ({one.gain_db:+.1f} dB)"


def _limits(made: Listening) -> Iterator[str]:
    yield "What this cannot tell"
    yield (
        f"  Only the first {made.window_ms:g} ms after the direct sound are in it: no reverberation. Below"
        f" {made.transition_hz:.0f} Hz, where the room's resonances rule, nothing is judged: do not listen for bass."
    )
    yield "  Each monitor is taken as flat on its axis, so that its own tone is not in it; materials are tabled values."
    if made.head:
        far = (
            f"The nearest measured direction is up to {made.farthest_deg:.0f} degrees from where a strong path arrives"
        )
        poor = ": too far to trust where things seem to be" if made.farthest_deg > NEAR_DEG else ""
        yield f"  {far}{poor}. The ears of {made.head} are not yours, unless you were measured."
    else:
        yield (
            "  There is no head in it: the left monitor is on the left channel and the right one on the right, so that"
            " it sounds wider than the room, and one monitor alone sounds in the middle. --head takes head-related"
            " responses."
        )
    yield (
        "  Headphones have a tone of their own and turn with your head; in the room your ears use both. What you hear"
        " here may be masked there, and the other way round. Use it to learn how a reflection sounds, not to choose a"
        " layout."
    )
