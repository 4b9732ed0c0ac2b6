"""Targets: presets named by their numbers, and what a person gives instead."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from sim.blueprint.treatment import PRESETS, Target


@pytest.mark.parametrize("name", list(PRESETS))
def test_a_preset_is_what_its_name_says(name: str) -> None:
    target = Target.model_validate({"preset": name})
    level, _, _, window, _ = name.split()
    assert target.level_db == float(level)
    assert target.window_ms == (0.0, float(window))


def test_the_broadcast_preset_speaks_of_one_to_eight_kilohertz() -> None:
    """ITU-R BS.1116-3 section 8, EBU Tech 3276 section 2.2: 10 dB below direct, 15 ms, 1 to 8 kHz (from memory)."""
    target = Target.model_validate({"preset": "-10 dB to 15 ms"})
    assert (target.level_db, target.window_ms, target.band_hz) == (-10.0, (0.0, 15.0), (1000.0, 8000.0))


def test_what_is_given_wins_over_the_preset() -> None:
    target = Target.model_validate({"preset": "-20 dB to 20 ms", "level_db": -12.0})
    assert (target.level_db, target.band_hz) == (-12.0, (500.0, 8000.0))


def test_an_unknown_preset_is_refused() -> None:
    with pytest.raises(ValidationError):
        Target.model_validate({"preset": "-3 dB to 1 ms"})
