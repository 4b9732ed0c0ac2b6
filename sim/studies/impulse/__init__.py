"""An impulse response out of a recording of the measuring signal, checked."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from sim.showing.terminal import say
from sim.studies.answering import say_answer

if TYPE_CHECKING:
    from sim.measuring.from_recording import MeasuredResponse
    from sim.progress import Report


def lines(response: MeasuredResponse) -> list[str]:
    """What the command says."""
    from sim.studies.impulse.text import impulse_lines

    return impulse_lines(response)


def write(response: MeasuredResponse, folder: Path, report: Report, pictures: bool) -> None:
    """Write the response, its signal to noise as a table, and the checks in words."""
    from sim.machine.whole_files import write_whole
    from sim.measuring.wave_files import float_bytes
    from sim.showing.numbers import number_cell, write_table
    from sim.showing.words import write_lines

    write_whole(folder / "response.wav", float_bytes(response.samples, response.rate_hz), "the response")
    rows = [[f"{row['octave_hz']:g}", number_cell(row["signal_to_noise_db"], 1)] for row in response.rows()]
    write_table(folder / "signal_to_noise.csv", ["octave_hz", "signal_to_noise_db"], rows)
    write_lines(lines(response), folder / "answer.txt")


# The command.


def impulse_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of `bounceplan impulse`."""
    command.add_argument("recording", type=Path, help="WAV file of one or two channels")
    command.add_argument("--signal", type=Path, required=True, metavar="WAV", help="the signal that was played")
    command.add_argument("-o", "--output", type=Path, required=True, metavar="WAV", help="file to make")
    command.add_argument("--replace", action="store_true", help="replace a file that is already there")
    command.add_argument("--channel", type=int, metavar="N", help="channel of the microphone (default: found out)")
    command.add_argument(
        "--reference", type=int, metavar="N", help="channel of the signal as it was sent (default: found out)"
    )
    command.set_defaults(run=impulse_command)


def impulse_command(chosen: argparse.Namespace) -> int:
    """Make the response, and say what was checked."""
    from sim.machine.whole_files import refuse_name, write_whole
    from sim.measuring.wave_files import float_bytes, refuse_wave_place
    from sim.studies.impulse.question import impulse

    refuse_name(chosen.output)
    refuse_wave_place(chosen.output, chosen.replace, (chosen.recording, chosen.signal))
    found = impulse(chosen.recording, signal=chosen.signal, channel=chosen.channel, reference=chosen.reference)
    write_whole(chosen.output, float_bytes(found.samples, found.rate_hz), "the response")
    say_answer(found)
    say("")
    say(f"wrote {chosen.output}")
    return 0
