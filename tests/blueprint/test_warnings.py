from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from tests.blueprint.scene_texts import TEN_LINES, changed


def test_a_usual_room_gives_no_warning(tmp_path: Path) -> None:
    assert parse_scene(TEN_LINES, tmp_path).warnings == ()


@pytest.mark.parametrize(
    ("text", "warning"),
    [
        (
            changed("height = 2.4", "height = 6.5"),
            "The room is 6.50 m high; more than 6.00 m is unusual, check the unit.",
        ),
        (
            changed("up = 1.2 }", "up = 0.85 }"),
            "The ear is 0.85 m above the floor; seated ears are usually at 0.90 m to 1.50 m.",
        ),
        (
            changed("up = 1.2 }", "up = 1.2 }\nsecond_seat = { ear = { from_front = 3, from_left = 1, up = 1.6 } }"),
            "The ear of the second seat is 1.60 m above the floor; seated ears are usually at 0.90 m to 1.50 m.",
        ),
        (
            changed("from_front = 1.6", "from_front = 4.0"),
            "The ear is only 0.20 m from the rear wall; is the distance right?",
        ),
        (
            changed("from_left = 1.7", "from_left = 3.2").replace("from_left = 2.32", "from_left = 3.25"),
            "The ear is only 0.20 m from the right wall; is the distance right?",
        ),
        (
            changed("from_left = 1.08", "from_left = 1.9"),
            '"left" is 0.20 m to the right of the seat; is that meant?',
        ),
        (
            changed(
                "up = 1.2 }", "up = 1.2 }\nsecond_seat = { ear = { from_front = 1.61, from_left = 1.7, up = 1.2 } }"
            ),
            "The second seat is where the first is, so both hear the same.",
        ),
        (
            TEN_LINES.rpartition("[[loudspeakers]]")[0],
            'There is only one monitor, "left"; left and right cannot be compared.',
        ),
    ],
)
def test_what_is_odd_is_said_and_not_refused(text: str, warning: str, tmp_path: Path) -> None:
    assert parse_scene(text, tmp_path).warnings == (warning,)
