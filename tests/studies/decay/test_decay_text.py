from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from sim.responses.records import Verdict
from sim.studies.decay.records import InitialGap, OctaveVerdict
from sim.studies.decay.text import decay_lines, with_error
from tests.studies.decay.decay_studies import traced, with_figures


def test_every_figure_stands_with_its_error() -> None:
    lines = decay_lines(traced())
    for heading in ("EDT s", "T20 s", "T30 s", "C50 dB", "C80 dB", "D50 %", "Ts ms", "direct dB"):
        rows = [line for line in lines if line.startswith(heading)]
        assert len(rows) == (3 if heading in ("T20 s", "T30 s") else 2), heading  # the room, and two loudspeakers
        assert all(row.count("+-") == 7 for row in rows)


def test_what_stands_there_is_what_was_found() -> None:
    study = with_figures(error=0.0123, c50_db=np.linspace(5.0, 11.0, 7), d50=0.8)
    lines = decay_lines(study)
    row = next(line for line in lines if line.startswith("C50 dB"))
    assert re.findall(r"([\d.]+)\+-([\d.]+)", row) == [(f"{level:.2f}", "0.01") for level in np.linspace(5, 11, 7)]
    assert "80.0+-1.2" in next(line for line in lines if line.startswith("D50 %"))


def test_octaves_that_are_not_judged_are_in_brackets() -> None:
    study = replace(traced(), judged=np.arange(7) >= 2, transition_hz=310.4)
    lines = decay_lines(study)
    row = next(line for line in lines if line.startswith("C80 dB"))
    assert row.count("(") == 2
    assert row.index("(") < row.index(")")
    assert "octave reaches below 310 Hz" in " ".join(lines)


def test_columns_stand_below_their_octaves() -> None:
    lines = decay_lines(traced())
    heads = [line for line in lines if line.lstrip().startswith("125 Hz")]
    ends = {match.end() for match in re.finditer(r"Hz", heads[0])}
    row = next(line for line in lines if line.startswith("Sabine s"))
    assert {match.end() for match in re.finditer(r"[\d.]+", row)} <= ends | {
        match.end() for match in re.finditer("s", row)
    }
    assert all(len(line) <= 9 + 7 * 15 for line in lines)


def test_verdicts_and_formulas_stand_beside_the_times() -> None:
    study = traced()
    answers = ["not judged by rays", "too close to call", "above", "within", "below", "not known", "above"]
    found = tuple(OctaveVerdict(125.0, 0.3, 0.01, 0.1, 0.2, answer) for answer in answers)
    row = next(line for line in decay_lines(replace(study, verdicts=found)) if line.startswith("verdict"))
    assert re.split(r"\s{2,}", row) == [
        "verdict",
        "not judged",
        "too close",
        "above",
        "within",
        "below",
        "not known",
        "above",
    ]
    text = " ".join(decay_lines(study))
    assert f"{study.aim.nominal_s:.2f} s are nominal for a monitoring room of 34 m3" in text
    assert "ITU-R BS.1116-3" in text


def test_gaps_are_told_or_said_to_be_none() -> None:
    gaps = (InitialGap("left", "ear", 3.456, -7.89, "left wall"), InitialGap("right", "ear", np.inf, -20.0, ""))
    text = " ".join(" ".join(decay_lines(replace(traced(), gaps=gaps))).split())
    assert "left at the ear: initial time delay gap 3.46 ms, to the left wall, -7.9 dB re direct sound" in text
    assert "right at the ear: no reflection of -20 dB or more" in text


def test_early_reflections_stand_against_the_rule_and_the_target() -> None:
    study = traced()
    ruled = (Verdict("left", "ear", True, (), ()), Verdict("right", "ear", False, (3,), ()))
    own = (Verdict("left", "ear", False, (1, 2), ()), Verdict("right", "ear", True, (), ()))
    text = " ".join(" ".join(decay_lines(replace(study, early=own, early_rule=ruled))).split())
    assert "left at the ear: no reflections are above the rule of listening rooms, -10 dB from 0 to 15 ms" in text
    assert "2 reflections are above the target of the scene, -15 dB from 0 to 20 ms" in text
    assert "right at the ear: 1 reflection is above the rule" in text


def test_what_is_left_out_is_always_said() -> None:
    text = " ".join(" ".join(decay_lines(replace(traced(), cautions=()))).split())
    for words in ("Edge diffraction, in the late decay", "no resonances", "Scattering coefficients are estimates"):
        assert words in text
    assert "nothing stands out" in text
    assert "2048 rays from each monitor in 16 batches" in text


@pytest.mark.parametrize(
    ("value", "error", "judged", "said"),
    [
        (0.4126, 0.0061, True, "0.413+-0.006"),
        (0.4126, 0.0061, False, "(0.413+-0.006)"),
        (np.nan, 0.1, True, "-"),
        (0.4126, np.nan, True, "0.413+-?"),
    ],
)
def test_a_figure_in_words(value: float, error: float, judged: bool, said: str) -> None:
    assert with_error(value, error, 3, judged=judged) == said
