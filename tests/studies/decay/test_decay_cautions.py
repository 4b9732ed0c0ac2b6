from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.acoustics.bands import transition_frequency_hz
from sim.studies.decay.records import DecayStudy
from sim.studies.decay.verdict import cautions_of, furnished_s
from tests.studies.decay.decay_studies import traced, with_figures


def calm(**values) -> DecayStudy:
    """A study in which nothing stands out: a large room, straight decays that Eyring foretold, everything reached."""
    study = traced()
    eyring = study.diffuse.eyring_s[1:]
    straight = {
        "t20_s": eyring,
        "t30_s": eyring,
        "first_s": eyring,
        "last_s": eyring,
        "nonlinearity20_permille": 1.0,
        "curvature_percent": 0.0,
        "edt_s": eyring,
        "direct_db": -3.0,
    }
    times = study.diffuse.eyring_s[1:]
    found_hz = transition_frequency_hz(float(times[2:4].mean()), 160.0)
    study = replace(study, transition_hz=found_hz, met=np.ones_like(study.met), judged=np.ones(7, dtype=bool))
    study = replace(study, built=replace(study.built, volume_m3=160.0), range_db=np.full(study.range_db.shape, 60.0))
    study = with_figures(study, **straight)
    return with_figures(study, **values) if values else study


def said(study: DecayStudy, words: str) -> str:
    found = [sentence for sentence in cautions_of(study) if words in sentence]
    assert len(found) == 1, cautions_of(study)
    return found[0]


def test_nothing_is_said_where_nothing_stands_out() -> None:
    # 160 m3 and a decay of 0.6 s or so: 2 sqrt(V/(cT)) is 1.8 m, and the seat is nearer
    assert [
        sentence
        for sentence in cautions_of(calm())
        if "ISO 3382 asks for" not in sentence and "Absorption tables" not in sentence
    ] == []


def test_what_was_not_reached_is_told_by_place_and_octave() -> None:
    study = calm()
    met = study.met.copy()
    met[1, 0, 2:4] = False
    errors = study.errors.copy()
    errors[1, 0, 2, 1] = 0.10 * study.figures[1, 0, 2, 1]
    errors[1, 0, 3, 3] = 0.75
    words = said(replace(study, met=met, errors=errors), "did not bring")
    assert "right at the ear: 500 Hz and 1 kHz (at most T20 10.0 %, C50 0.75 dB)" in words
    assert "left" not in words
    unjudged = replace(study, met=met, judged=np.arange(7) > 3)
    assert not any("did not bring" in sentence for sentence in cautions_of(unjudged))


def test_small_rooms_are_no_diffuse_field() -> None:
    study = replace(calm(), built=replace(traced().built, volume_m3=34.0))
    assert "no quantity of a diffuse field" in said(study, "A small room (34 m3)")


def test_another_transition_frequency_than_that_of_other_commands_is_told() -> None:
    study = calm()
    words = said(replace(study, transition_hz=400.0), "This and all other commands judge from")
    assert "from 400 Hz up, as the scene tells no decay time and the nominal one is taken" in words
    assert "reverberation_time_s = " in words and f"judge from {study.transition_hz:.0f} Hz up" in words


def test_absorption_tables_are_said_to_be_less_sure_than_counting_rays() -> None:
    """A fifth off the coefficients: 1 - 1/1.2 = 17 % shorter, 1/0.8 - 1 = 25 % longer (Sabine: T goes with 1/A)."""
    words = said(calm(), "Absorption tables are off by far more, 20 %")
    assert "17 % shorter or 25 % longer" in words


def test_a_furnished_room_decays_faster_by_what_its_things_absorb() -> None:
    """EN 12354-6 (from memory): each of V/4 things of 0.2 m3 adds 0.2^(2/3) = 0.342 m2."""
    study = calm()
    area = study.diffuse.surface_m2 * study.diffuse.mean_absorption[1:]
    expected = study.room.t20_s * area / (area + 160.0 / 4.0 * 0.2 ** (2.0 / 3.0))
    assert np.allclose(furnished_s(study), expected)
    assert (furnished_s(study) < study.room.t20_s).all()


def test_formulas_that_disagree_are_explained() -> None:
    study = calm()
    times = study.diffuse.eyring_s[1:].copy()
    times[3] *= 2.0
    words = said(with_figures(study, t20_s=times), "Eyring's formula differ most at 1 kHz")
    assert "face each other" in words
    times[3] /= 4.0
    assert "more often than its area" in said(with_figures(study, t20_s=times), "Eyring's formula differ most at 1 kHz")


def test_curves_that_are_not_straight() -> None:
    bent = np.full(7, 2.0)
    bent[4] = 15.0
    assert "at 2 kHz" in said(calm(nonlinearity20_permille=bent), "non-linearity above 10 per mille")
    unsure = cautions_of(with_figures(calm(), error=3.0, nonlinearity20_permille=bent))
    assert not any("per mille" in words for words in unsure)
    assert "curvature above 10 %" in said(calm(curvature_percent=12.0), "not exponential")


def test_double_slopes() -> None:
    last = calm().diffuse.eyring_s[1:].copy()
    last[5] *= 1.6
    words = said(calm(last_s=last), "Double slope at 4 kHz")
    first = calm().diffuse.eyring_s[1:][5]
    assert f"{first:.2f} s from -5 to -15 dB and {1.6 * first:.2f} s from -25 to -35 dB" in words
    assert "for left at the ear" in words
    assert not any("Double" in words for words in cautions_of(with_figures(calm(), error=0.4, last_s=last)))


def test_decay_that_was_not_followed() -> None:
    study = calm(t30_s=np.where(np.arange(7) == 3, np.nan, calm().diffuse.eyring_s[1:]))
    depth = study.range_db.copy()
    depth[:, :, 3] = 41.0
    assert "at 1 kHz" not in said(replace(study, range_db=depth), "T30 needs a decay of 45 dB")
    assert "followed in 1 kHz" in said(replace(study, range_db=depth), "T30 needs a decay of 45 dB")


def test_seats_too_close_and_hidden_sound() -> None:
    near = calm()
    assert sum("ISO 3382 asks for" in words for words in cautions_of(near)) == 2
    assert "direct sound stands 10 dB above" in said(calm(edt_s=np.nan, direct_db=12.0), "No EDT at")
    direct = np.full((2, 1, 7), -3.0)
    direct[0] = np.nan
    assert "left at the ear" in said(calm(direct_db=direct), "something hides the direct sound")
