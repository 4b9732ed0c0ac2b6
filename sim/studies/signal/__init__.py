"""The swept sine to play for a measurement and its inverse, as WAV files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.progress import Report
    from sim.studies.signal.sweep_signal import SweepSignal


def lines(made: SweepSignal) -> list[str]:
    """What the command says."""
    from sim.studies.signal.sweep_signal import signal_lines

    return signal_lines(made)


def write(made: SweepSignal, folder: Path, report: Report, pictures: bool) -> None:
    """Write the signal, its inverse, and what to mind."""
    from sim.machine.whole_files import write_whole
    from sim.measuring.wave_files import float_bytes, pcm_bytes
    from sim.showing.words import write_lines

    write_whole(folder / "sine.wav", pcm_bytes(made.samples, made.rate_hz), "the signal")
    write_whole(folder / "inverse.wav", float_bytes(made.inverse, made.rate_hz), "the inverse")
    write_lines(lines(made), folder / "answer.txt")


# The command.


def signal_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan signal`."""
    command.add_argument("-o", "--output", type=Path, required=True, metavar="WAV", help="file to make")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.add_argument("--rate-hz", type=int, default=48_000, metavar="HZ", help="sampling rate (default: 48000)")
    command.add_argument("--seconds", type=float, default=10.0, metavar="S", help="length of the sweep (default: 10)")
    command.add_argument(
        "--level-dbfs", type=float, default=-12.0, metavar="DB", help="its peak, dB re full scale (default: -12)"
    )
    command.set_defaults(run=signal_command)


def signal_command(chosen: argparse.Namespace) -> int:
    """Make the signal, say how to play it; nothing is played."""
    from sim.machine.whole_files import refuse_name, write_whole
    from sim.measuring.wave_files import float_bytes, pcm_bytes, refuse_wave_place
    from sim.studies.signal.sweep_signal import signal

    refuse_name(chosen.output)
    inverse: Path = chosen.output.with_name(f"{chosen.output.stem}-inverse{chosen.output.suffix}")
    for place in (chosen.output, inverse):
        refuse_wave_place(place, chosen.replace)
    made = signal(rate_hz=chosen.rate_hz, seconds=chosen.seconds, level_dbfs=chosen.level_dbfs)
    write_whole(chosen.output, pcm_bytes(made.samples, made.rate_hz), "the signal")
    write_whole(inverse, float_bytes(made.inverse, made.rate_hz), "the inverse")
    say_answer(made)
    say("")
    say(f"wrote {chosen.output} and {inverse}")
    return 0
