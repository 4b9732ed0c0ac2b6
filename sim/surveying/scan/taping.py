"""A scan held against distances by tape: right, off by a little and corrected, or wrong and refused."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from sim.blueprint.units import UNIT_M, length_words, small_words, text_to_metres
from sim.errors import MeshError, SceneError
from sim.surveying.scan.laying import LaidRoom, distance_between
from sim.surveying.scan.records import TapeReading

AGREES_M: Final = 0.015
"""Within this scan and tape say the same (common practice, no source)."""
MOST_OFF: Final = 0.03
"""Phones are off by a percent or two; more is a mistake, of unit, wall or tape (common practice, no source)."""
MOST_LEFT_M: Final = 0.03

Tape = Sequence[tuple[str, str | float]]


def taped(
    room: LaidRoom, tape: Tape, unit: str, units: str, where: str
) -> tuple[LaidRoom, tuple[TapeReading, ...], float]:
    """Compare a room with a tape; lengths that are all off by the same factor are multiplied by it.

    `unit` is that of the scan, `units` that of the scene, in which complaints are.

    Returns the room, the readings beside what the scan has (before it was corrected), and the factor.

    Raises
    ------
    SceneError
        If a reading is no length, or names no two surfaces opposite each other.
    MeshError
        If tape and scan are too far apart.
    """
    readings = []
    for words, written in tape:
        between, scan_m = distance_between(room, words)
        readings.append(TapeReading(between, _metres(words, written), scan_m))
    for reading in readings:
        ratio = reading.tape_m / reading.scan_m
        if abs(ratio - 1.0) > MOST_OFF:
            fits = [
                other
                for other in UNIT_M
                if other != unit and abs(ratio * UNIT_M[unit] / UNIT_M[other] - 1.0) < MOST_OFF
            ]
            raise MeshError(
                where,
                f"by tape {reading.between} is {length_words(reading.tape_m, units)}, in the scan "
                f"{length_words(reading.scan_m, units)}",
                f"say --unit {fits[0]}" if fits else "check that tape reading, or scan the room again",
            )
    if all(abs(reading.tape_m - reading.scan_m) <= AGREES_M for reading in readings):
        return room, tuple(readings), 1.0
    scan, by_tape = (np.array([getattr(reading, key) for reading in readings]) for key in ("scan_m", "tape_m"))
    factor = float(scan @ by_tape / (scan @ scan))
    left = by_tape - factor * scan
    worst = int(np.argmax(np.abs(left)))
    if abs(left[worst]) > MOST_LEFT_M:
        raise MeshError(
            where,
            f"the tape readings do not fit one scale: {readings[worst].between} is "
            f"{small_words(abs(left[worst]), units)} {'longer' if left[worst] > 0.0 else 'shorter'} by tape",
            "measure that one again; if it is right, the scan is bent there and has to be made again",
        )
    return room.scaled(factor), tuple(readings), factor


def _metres(words: str, written: str | float) -> float:
    try:
        return float(written)
    except ValueError:
        pass
    try:
        return text_to_metres(str(written))
    except ValueError as fault:
        raise SceneError(
            f'--tape "{words}"', f'"{written}" is not a length', 'write 4.12, "412 cm" or "13 ft 6 in"'
        ) from fault
