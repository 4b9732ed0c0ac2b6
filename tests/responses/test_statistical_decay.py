from __future__ import annotations

import numpy as np
import pytest

from sim.responses.statistical_decay import diffuse_room, eyring_s
from tests.studies.treat.test_decay import room


def test_eyring_by_hand() -> None:
    # Eyring 1930: 0.161 V/(-S ln(1 - a)); V = 50, S = 85; air is left out by taking 125 Hz, where it takes nothing
    times = eyring_s(room(0.2))
    by_hand = 24.0 * np.log(10.0) / room(0.2).air.speed_of_sound_m_s * 50.0 / (-85.0 * np.log(0.8))
    assert times[1] == pytest.approx(by_hand, rel=2e-3)
    assert times[7] < times[1]


def test_a_panel_takes_the_place_of_its_wall() -> None:
    bare, treated = room(0.2), room(0.2, panels=1)
    before, after = eyring_s(bare), eyring_s(treated)
    # absorbed area before and after by hand, at 500 Hz; air takes the same both times
    scale = 24.0 * np.log(10.0) / treated.air.speed_of_sound_m_s * 50.0
    gained = -np.log(0.8) * 85.0 + scale / after[3] - scale / before[3]
    wool = 85.0 * (1.0 - np.exp(-gained / 85.0)) - 0.2 * 84.0  # of one square metre
    assert 0.8 < wool < 1.0
    assert (after[2:] < before[2:]).all()  # at 63 Hz the wall of this test takes more than wool


def test_sabine_is_longer_and_evenness_is_told() -> None:
    even = diffuse_room(room(0.2))
    # the loudspeaker is furniture too: its box has its own coefficients, so a little unevenness stays
    assert even.surface_m2 == pytest.approx(85.0, abs=0.7)
    assert even.mean_absorption == pytest.approx(np.full(8, 0.2), abs=0.01)
    assert (even.unevenness < 0.03).all()
    assert (even.sabine_s > even.eyring_s).all()
    ratio = (-np.log1p(-even.mean_absorption[1]) / even.mean_absorption[1]).item()
    assert even.sabine_s[1] / even.eyring_s[1] == pytest.approx(ratio, rel=2e-3)
    treated = diffuse_room(room(0.2, panels=2))
    assert treated.unevenness[4] > 0.09  # 2 of 85 m2 at nearly 1: sqrt(0.0235) (1 - 0.2) = 0.12
    assert treated.surface_m2 == pytest.approx(even.surface_m2)
