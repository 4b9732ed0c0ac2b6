"""A few of the truths that `match_report` tries by hundreds: recordings, and desks by boundary elements."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from sim.studies.match.match import match
from sim.studies.match.records import Match
from tests.builders.desk_measurements import SAVED, SCENES
from tests.builders.match_report import DRIFTS_PPM, over_a_desk, score_line, swept
from tests.builders.measured_rooms import Score, random_room, traced


def test_a_room_by_recordings_of_two_clocks(tmp_path: Path) -> None:
    """60 ppm fast and 120 ppm slow, noise 60 dB down: drift within 2 ppm, names as from the clean response."""
    room, responses = swept(random_room(5000, tmp_path), tmp_path)
    for one, drift in zip(responses, DRIFTS_PPM, strict=True):
        assert one.drift_ppm == pytest.approx(drift, abs=2.0) and one.mended
    score = Score()
    score.add(room, match(traced(room), room.files))
    assert score.peaks > 15 and score.right >= 0.95 * score.peaks and score.wrong == 0
    assert score.unknown == score.cupboards and max(score.seat_error_m or [1.0]) < 0.01


def strong_names(found: Match) -> list[list[str]]:
    return [[peak.candidates[0].via if peak.named else "" for peak in found.strong(one)] for one in found.responses]


def test_a_bare_desk_by_boundary_elements(tmp_path: Path) -> None:
    """Its top and its far edge: every strong peak of both sides is named, the top within 0.1 ms."""
    found, desk = over_a_desk("bare desk", tmp_path)
    assert desk.explained == desk.peaks >= 4
    assert [names[0] for names in strong_names(found)] == ["piece 1 top"] * 2
    for one in found.responses:
        assert abs(one.peaks[0].candidates[0].misfit_ms) < 0.1


def test_a_desk_over_a_floor_by_boundary_elements(tmp_path: Path) -> None:
    """All but one strong peak a side: sound that goes round the desk and bounces below it is not calculated."""
    found, desk = over_a_desk("desk over a floor", tmp_path)
    assert desk.peaks >= 6 and desk.explained >= desk.peaks - 2
    assert all(7.0 < late < 8.5 for late in desk.unknown)
    assert [names[0] for names in strong_names(found)] == ["piece 1 top"] * 2


def test_what_is_stored_are_whole_responses() -> None:
    stored = {name: np.array(rows) @ [1.0, 1j] for name, rows in json.loads(SAVED.read_text(encoding="utf-8")).items()}
    assert set(stored) == set(SCENES)
    for ratios in stored.values():
        assert ratios.shape == (32, 2)
        assert 0.7 < np.abs(ratios).mean() < 1.5
        # sources and ear are mirror images of each other, and so is what arrives: what the solver is off by
        assert np.abs(ratios[:, 0] - ratios[:, 1]).max() < 0.05


def test_a_line_of_the_report() -> None:
    score = Score(200, 196, 1, 3, 10, 9, [0.002, 0.011])
    assert score_line("some", score) == (
        "some: 200 peaks, right 98.0 %, wrong 0.5 %, cupboard unknown 9 of 10, microphone within 1 cm 1 of 2,"
        " worst 1.1 cm"
    )
