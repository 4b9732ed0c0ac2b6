from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.showing.tape import tape_coordinates
from sim.studies.tolerance.findings import blobs, chances, fragile_answers, reflection_ranges
from sim.studies.tolerance.text import blob_on_tape, tolerance_lines
from sim.studies.tolerance.tolerance import Tolerance, tolerance
from tests.studies.little_room import DESK, little_room, still_room


@pytest.fixture(scope="module")
def found() -> Tolerance:
    return tolerance(little_room(DESK.replace("[0.5, 1.2]", "[0.5, 1.104]")), samples=128, processes=1)


def section(lines: list[str], heading: str) -> list[str]:
    start = next(number for number, line in enumerate(lines) if line.startswith(heading))
    return lines[start + 1 : lines.index("", start) if "" in lines[start:] else None]


def test_every_part_is_there_with_its_numbers(found: Tolerance) -> None:
    lines = tolerance_lines(found)
    assert lines[0] == "Tolerance: little room"
    assert "  128 samples, seed 1; first reflections off flat surfaces only" in lines
    uncertainties = section(lines, "Taken as not known exactly")
    assert uncertainties[0] == "  17 tape readings, each with a standard deviation of 0.5 cm"
    assert uncertainties[2] == "  where the head is, anywhere in 30 cm x 30 cm x 10 cm (depth, across, up)"
    assert not any("drivers" in line for line in uncertainties), "points have no directivity to be in doubt"
    target = section(lines, "Against the target")
    assert "the usual one: the scene names none" in target[0]
    assert f"{100 * chances(found)[1]:.0f} % of the samples" in target[-1]
    row = reflection_ranges(found)[0]
    first = section(lines, "Reflections, the loudest first")[0]
    assert first.startswith(f"  {row.loudspeaker} {row.surface} ")
    assert f"{row.level.nominal:.1f} ({row.level.low:.1f} to {row.level.high:.1f}) dB" in first


def test_fragile_answers_are_sentences_with_their_fractions(found: Tolerance) -> None:
    reported = section(tolerance_lines(found), "Fragile answers")
    answer = next(one for one in fragile_answers(found) if one.surface == "desk top")
    (line,) = (one for one in reported if f"of {answer.loudspeaker} on the desk top" in one)
    assert f"{answer.now} as written" in line
    assert f"reaches in {100 * answer.reaches:.0f} %" in line or f"in {100 * answer.reaches:.0f} % of" in line


def test_the_reading_that_decides_is_named() -> None:
    """Nobody moves, so that tape alone decides; the edge of the desk more than anything."""
    still = tolerance(still_room(DESK.replace("[0.5, 1.2]", "[0.5, 1.104]")), samples=128, processes=1)
    reported = section(tolerance_lines(still), "Worth measuring again")
    assert reported[0].startswith("  the listener-side edge of the desk: it decides whether the point of ")
    assert "strikes the desk top (" in reported[0]


def test_where_no_reading_decides_it_is_said() -> None:
    lines = tolerance_lines(tolerance(little_room(), samples=128, processes=1))
    assert "  none: no reflection appears or leaves in more than 5 % of the samples" in lines
    assert section(lines, "Worth measuring again")[0].startswith("  nothing: no tape reading makes more than 15 %")
    assert "Worth keeping still" in lines


def test_too_few_samples_for_shares_are_told() -> None:
    lines = tolerance_lines(tolerance(little_room(), samples=32, processes=1))
    assert any(line.startswith("  too few samples for ") for line in lines)
    assert section(lines, "Worth measuring again") == ["  too few samples to tell"]


def test_impossible_samples_are_told(found: Tolerance) -> None:
    some = replace(found, impossible=3, reason="the box goes through the desk; move it.")
    reported = tolerance_lines(some)[3]
    assert reported == ("  3 of them cannot be and are left out; most often: the box goes through the desk; move it.")


def test_a_blob_on_the_tape_reaches_as_far_as_its_outline(found: Tolerance) -> None:
    for blob in blobs(found):
        first, first_off, _, second, second_off, _ = blob_on_tape(found, blob)
        facet = found.built.room.facets[blob.facet]
        line = blob.outline(361)
        line = line - np.outer(line @ facet.normal - facet.offset_m, facet.normal)
        readings = [tape_coordinates(found.built.room, blob.facet, point) for point in line[::10]]
        assert max(one.first_m for one in readings) == pytest.approx(first + first_off, abs=0.01 * first_off + 1e-6)
        assert min(one.second_m for one in readings) == pytest.approx(second - second_off, abs=0.01 * second_off + 1e-6)
