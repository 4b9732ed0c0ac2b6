"""Lengths and other numbers are told apart by the records themselves."""

from __future__ import annotations

import pytest

from sim.blueprint.writing import is_length


@pytest.mark.parametrize(
    "key", ["from_front", "up", "top", "size", "gap", "stand_height", "woofer_diameter", "headroom"]
)
def test_lengths_have_the_unit_of_the_scene(key):
    assert is_length(key)


@pytest.mark.parametrize(
    "key",
    [
        "delay_ms",
        "gain_db",
        "tilt_deg",
        "roll",
        "price",
        "mass_kg",
        "from_hz",
        "flow_resistivity",
        "open_share",
        "reverberation_time_s",
        "order",
        "budget",
        "absorption",
        "band_hz",
    ],
)
def test_other_numbers_have_their_own(key):
    assert not is_length(key)
