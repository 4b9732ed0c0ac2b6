"""The measuring signal played and recorded by a sound card, only when a person asks for it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import progress, say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.studies.record.question import Recorded


def lines(found: Recorded) -> list[str]:
    """What the command says."""
    from sim.studies.record.question import recorded_lines

    return recorded_lines(found)


def write(found: Recorded, folder: Path, report: Report, pictures: bool) -> None:
    """Write the recording and what to mind."""
    from sim.machine.whole_files import write_whole
    from sim.measuring.wave_files import float_bytes
    from sim.showing.words import write_lines

    write_whole(folder / "recording.wav", float_bytes(found.samples, found.rate_hz), "the recording")
    write_lines(lines(found), folder / "answer.txt")


# The command.


def record_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan record`."""
    command.add_argument("--signal", type=Path, required=True, metavar="WAV", help="the signal, as signal makes it")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="WAV", help="file to make")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.add_argument("--play", action="store_true", help="play it now; without this, nothing sounds")
    command.add_argument("--monitor", type=int, default=1, metavar="N", help="output of the monitor (default: 1)")
    command.add_argument("--microphone", type=int, default=1, metavar="N", help="input of the microphone (default: 1)")
    command.add_argument("--loop", type=int, metavar="N", help="input on which a cable brings back what is sent")
    command.add_argument("--device", metavar="NAME", help="sound card (default: the system's own)")
    command.set_defaults(run=record_command)


def record_command(chosen: argparse.Namespace) -> int:
    """Say what to mind and what there is; play and record only with --play."""
    from sim.machine.whole_files import refuse_name, write_whole
    from sim.measuring.sound_card import device_lines
    from sim.measuring.wave_files import float_bytes, refuse_wave_place
    from sim.studies.record.question import asking_lines, read_signal, record

    refuse_name(chosen.output)
    refuse_wave_place(chosen.output, chosen.replace, (chosen.signal,))
    sent = read_signal(chosen.signal)
    if not chosen.play:
        for line in asking_lines(device_lines(), sent, chosen.monitor):
            say(line)
        return 0
    progress(f"playing {sent.name} on output {chosen.monitor}; Ctrl-C stops it")
    found = record(
        chosen.signal,
        output=chosen.monitor,
        microphone=chosen.microphone,
        loop=chosen.loop,
        device=chosen.device,
    )
    write_whole(chosen.output, float_bytes(found.samples, found.rate_hz), "the recording")
    say_answer(found)
    say("")
    say(f"wrote {chosen.output}")
    return 0
