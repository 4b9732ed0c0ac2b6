"""A measured peak or dip: the reflection whose time or cancellation is known by hand is found, and others are not."""

from __future__ import annotations

import pytest

from sim.cli import run
from sim.errors import BounceplanError, PictureError, SceneError
from sim.studies.explain.measured import candidate_lines, candidates
from tests.explained import POINT, TWO_WAY, traced

CEILING_M = (1.4**2 + 0.6**2 + 2.5**2) ** 0.5 - (1.4**2 + 0.6**2 + 0.1**2) ** 0.5
"""Extra path via the ceiling of POINT, from its mirror image (Kuttruff, Room Acoustics: image sources)."""


def test_a_peak_at_the_time_of_the_ceiling_is_the_ceiling() -> None:
    results = traced(POINT)
    ms = 1000.0 * CEILING_M / results.built.air.speed_of_sound_m_s
    answer = candidates(results, ms=ms)
    (ceiling,) = [one for one in answer.found if one.cause == "ceiling"]
    assert ceiling.misfit == pytest.approx(0.0, abs=1e-6)
    assert all(abs(one.misfit) <= one.allowed for one in answer.found)
    assert all(abs(one.misfit) > one.allowed for one in answer.nearest)
    levels = [one.strength_db for one in answer.found]
    assert levels == sorted(levels, reverse=True)


def test_the_misfit_is_told_in_time_and_in_length_of_path() -> None:
    results = traced(POINT)
    ms = 1000.0 * (CEILING_M + 0.05) / results.built.air.speed_of_sound_m_s
    text = "\n".join(candidate_lines(candidates(results, ms=ms)))
    assert "ceiling" in text and "0.15 ms off (5 cm of path)" in text


def test_a_dip_where_the_ceiling_cancels_names_the_ceiling() -> None:
    results = traced(POINT)
    speed = results.built.air.speed_of_sound_m_s
    hz = 1.5 * speed / CEILING_M  # half a wavelength and a whole one longer: antiphase
    if hz < results.responses.transition_hz:
        hz = 2.5 * speed / CEILING_M
    answer = candidates(results, hz=hz)
    (alone,) = [one for one in answer.found if one.what == "reflection" and one.cause == "ceiling"]
    assert abs(alone.misfit) < alone.allowed
    # the image is (direct / path) weaker and half of its energy is lost at the ceiling, so 1 - r is left of the sum
    assert 1.0 < alone.strength_db < 6.0


def test_nothing_may_fit_and_that_is_said() -> None:
    results = traced(POINT)
    answer = candidates(results, ms=0.02)
    assert not answer.found and len(answer.nearest) == 3
    assert "nothing in this scene fits" in "\n".join(candidate_lines(answer))
    assert "nothing in this scene fits" in answer.headline()
    misses = [abs(one.misfit) for one in answer.nearest]
    assert misses == sorted(misses)


def test_below_the_transition_no_dip_is_blamed_on_a_reflection() -> None:
    answer = candidates(traced(POINT), hz=40.0)
    assert not answer.found and not answer.nearest
    assert "is judged in this room" in "\n".join(candidate_lines(answer))


def test_one_loudspeaker_or_all() -> None:
    results = traced(TWO_WAY)
    either = candidates(results, ms=5.0)
    assert {one.loudspeaker for one in either.found + either.nearest} == {"left", "right"}
    one_side = candidates(results, ms=5.0, loudspeaker="right")
    assert {one.loudspeaker for one in one_side.found + one_side.nearest} == {"right"}


@pytest.mark.parametrize(
    ("asked", "found"),
    [({"ms": -1.0}, "it is -1"), ({"ms": float("nan")}, "nan"), ({"hz": 90000.0}, "90000"), ({}, "give one of them")],
)
def test_what_cannot_be_is_one_sentence(asked: dict[str, float], found: str) -> None:
    with pytest.raises(SceneError, match=found):
        candidates(POINT, **asked)  # type: ignore[arg-type]


def test_the_command_refuses_at_once() -> None:
    with pytest.raises(BounceplanError, match="above 0 to 100 ms"):
        run(["explain", "nowhere.toml", "--ms", "0"])
    with pytest.raises(PictureError, match="it draws one arrival"):
        run(["explain", "nowhere.toml", "--hz", "900", "--picture", "a.png"])
