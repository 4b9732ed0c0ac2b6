from __future__ import annotations

from dataclasses import replace

import pytest

from sim.placement.built_scene import build_scene
from sim.studies.treat.stock import decay_of
from tests.built_scenes import blueprint_of, box, loudspeaker
from tests.studies.treat.planned import NOWHERE

PANEL = {"name": "one", "surface": "left wall", "from_front": [1.0, 2.0], "up": [0.5, 1.5], "material": "100 mm wool"}


def room(alpha: float, panels: int = 0):
    at = [{**PANEL, "name": str(i), "from_front": [0.1 + i * 1.1, 1.1 + i * 1.1]} for i in range(panels)]
    sources = [loudspeaker((0.9, 0.9, 1.2), name="left")]
    return build_scene(
        blueprint_of(
            box(5.0, 4.0, 2.5, "walls"), sources, (2.0, 2.0, 1.2), absorption={"walls": [alpha] * 8}, panels=at
        ),
        NOWHERE,
    )


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
