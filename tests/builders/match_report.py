"""What `match` is worth, against truths made apart from the program: box rooms, recorded sweeps, desks.

    python -m tests.builders.match_report 200 5000    # 200 rooms from seed 5000 (three minutes), and the rest

Prints how many peaks get the right name and a wrong one, what becomes of a cupboard that is not drawn, and how near the
microphone is found: for tapes that are right but for the seat, for tapes and materials that are off too, for responses
out of recordings with noise and a clock that runs off, and over desks worked out with boundary elements.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sim.blueprint.reader import parse_scene
from sim.measuring.from_recording import MeasuredResponse
from sim.measuring.wave_files import float_bytes, pcm_bytes
from sim.pipeline import trace_scene
from sim.studies.impulse.question import impulse
from sim.studies.match.match import match
from sim.studies.match.records import Match
from sim.studies.signal.sweep_signal import signal
from tests.builders.desk_measurements import EAR, SCENES, write_measurement
from tests.builders.measured_rooms import MeasuredRoom, Score, random_room, score_of, traced
from tests.builders.swept_rooms import record_room

NEAR_M = 0.01
DRIFTS_PPM = (60.0, -120.0)
SWEEP_S = 2.0


@dataclass(frozen=True)
class DeskScore:
    """Strong peaks over a desk: how many, how many are the scene's, their names, and the times of unknown ones."""

    peaks: int
    explained: int
    names: tuple[str, ...]
    unknown: tuple[float, ...]


def swept(room: MeasuredRoom, folder: Path, noise_db: float = -60.0) -> tuple[MeasuredRoom, list[MeasuredResponse]]:
    """The same room measured by recordings: each with a clock of its own, its response made by `impulse`."""
    (folder / "sine.wav").write_bytes(pcm_bytes(signal(seconds=SWEEP_S).samples, 48_000))
    files, found = [], []
    for number, (file, drift) in enumerate(zip(room.files, DRIFTS_PPM, strict=True)):
        recording = folder / f"recorded-{file.name}"
        record_room(file, recording, seconds=SWEEP_S, drift_ppm=drift, noise_db=noise_db, seed=number)
        one = impulse(recording, signal=folder / "sine.wav")
        files.append(folder / f"response-{file.name}")
        files[-1].write_bytes(float_bytes(one.samples, one.rate_hz))
        found.append(one)
    return replace(room, files=tuple(files)), found


def swept_rooms(seeds: range) -> tuple[Score, float]:
    """Match rooms by recordings; and by how many ppm the drift was told wrong at most."""
    score, worst = Score(), 0.0
    with tempfile.TemporaryDirectory() as folder:
        for seed in seeds:
            room, responses = swept(random_room(seed, Path(folder)), Path(folder))
            score.add(room, match(traced(room), room.files))
            off = [abs(one.drift_ppm - drift) for one, drift in zip(responses, DRIFTS_PPM, strict=True)]
            worst = max(worst, *off)
    return score, worst


def over_a_desk(name: str, folder: Path) -> tuple[Match, DeskScore]:
    """Match what was worked out for a desk against its scene."""
    scene = parse_scene(SCENES[name].text((EAR,)), folder)
    found = match(trace_scene(scene, maps=False, waves_to_hz=0.0), write_measurement(name, folder))
    strong = [peak for one in found.responses for peak in found.strong(one)]
    names = tuple(peak.candidates[0].via if peak.named else "" for peak in strong)
    unknown = tuple(peak.time_ms for peak in strong if not (peak.named or peak.together))
    return found, DeskScore(len(strong), sum(found.explained(one) for one in found.responses), names, unknown)


def score_line(words: str, score: Score) -> str:
    """One line of the report."""
    off = np.array(score.seat_error_m or [np.nan])
    return (
        f"{words}: {score.peaks} peaks, right {100.0 * score.right / score.peaks:.1f} %, wrong"
        f" {100.0 * score.wrong / score.peaks:.1f} %, cupboard unknown {score.unknown} of {score.cupboards}, microphone"
        f" within 1 cm {int((off <= NEAR_M).sum())} of {len(off)}, worst {100.0 * off.max():.1f} cm"
    )


def report(count: int, first: int) -> list[str]:
    """Lines of the report on so many rooms from a seed on."""
    some = range(first, first + max(1, count // 10))
    score, drift = swept_rooms(some)
    lines = [
        score_line(f"{count} rooms, microphone 5 cm off", score_of(range(first, first + count))),
        score_line(f"{count} rooms, tapes and walls off too", score_of(range(first, first + count), rough=True)),
        score_line(f"{len(some)} rooms by recordings, clocks {DRIFTS_PPM} ppm off", score),
        f"  drift told within {drift:.1f} ppm",
    ]
    with tempfile.TemporaryDirectory() as folder:
        for name in SCENES:
            _, desk = over_a_desk(name, Path(folder))
            lines.append(
                f"{name}: {desk.explained} of {desk.peaks} peaks are the scene's"
                f" ({', '.join(one or '-' for one in desk.names)})"
            )
    return lines


if __name__ == "__main__":
    for line in report(int(sys.argv[1]), int(sys.argv[2])):
        print(line)  # noqa: T201
