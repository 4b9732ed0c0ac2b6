from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.placement.stage import set_stage
from sim.treatment.decay import decay_of, eyring_s
from tests.staged import blueprint_of, box, loudspeaker
from tests.treatment.planned import NOWHERE

PANEL = {"name": "one", "surface": "left wall", "from_front": [1.0, 2.0], "up": [0.5, 1.5], "material": "100 mm wool"}


def room(alpha: float, panels: int = 0):
    at = [{**PANEL, "name": str(i), "from_front": [0.1 + i * 1.1, 1.1 + i * 1.1]} for i in range(panels)]
    sources = [loudspeaker((0.9, 0.9, 1.2), name="left")]
    return set_stage(
        blueprint_of(
            box(5.0, 4.0, 2.5, "walls"), sources, (2.0, 2.0, 1.2), absorption={"walls": [alpha] * 8}, panels=at
        ),
        NOWHERE,
    )


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


def test_aim_is_that_of_listening_rooms() -> None:
    # ITU-R BS.1116-3: 0.25 s (V/100 m3)^(1/3); 50 m3 give 0.198 s (value from memory)
    assert decay_of(room(0.2), room(0.2)).aim_s == pytest.approx(0.1984, abs=1e-4)


def test_it_warns_of_a_dry_room_and_always_says_it_is_rough() -> None:
    dry = decay_of(room(0.3), room(0.6, panels=4))
    assert any("would be dry" in words for words in dry.warnings)
    assert "statistical" in dry.warnings[0]
    lively = decay_of(room(0.05), room(0.05))
    assert any("stays lively" in words for words in lively.warnings)


def test_it_warns_when_only_the_top_is_treated() -> None:
    bare = room(0.15)
    thin = replace(bare, absorption=bare.absorption.copy())
    thin.absorption[:, 5:] = 0.4
    assert any("dull" in words for words in decay_of(bare, thin).warnings)
    assert not any("dull" in words for words in decay_of(bare, room(0.25)).warnings)
