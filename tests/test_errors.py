from __future__ import annotations

import pytest

from sim.errors import LONGEST_SENTENCE, BounceplanError, SceneError, one_line, printable
from sim.showing.terminal import progress, say

HOSTILE = "\x1b]0;owned\x07\x1b[2J\r\u202egnp.exe\u2028\x9b31m\ud800"


@pytest.mark.parametrize("code", [*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029, 0x202E, 0x2066, 0xD800])
def test_no_control_character_reaches_a_screen(code: int) -> None:
    shown = printable(f"a{chr(code)}b")
    if chr(code) in "\n\t":
        assert shown == f"a{chr(code)}b"
    else:
        assert chr(code) not in shown
        assert shown.startswith("a\\")
        assert shown.endswith("b")
    assert chr(code) not in one_line(f"a{chr(code)}b")


def test_what_people_write_stays_as_it_is() -> None:
    words = "Müllers Küche ☺ שלום 60° 24 in – ½"
    assert printable(words) == one_line(words) == words


def test_every_error_message_is_one_printable_line_of_bounded_length() -> None:
    for fault in (BounceplanError(HOSTILE), SceneError(HOSTILE, HOSTILE, HOSTILE), BounceplanError("x" * 10**6)):
        assert str(fault).isprintable()
        assert len(str(fault)) < LONGEST_SENTENCE + 10


def test_what_commands_say_cannot_move_the_cursor(capsys: pytest.CaptureFixture[str]) -> None:
    say(HOSTILE)
    progress(HOSTILE)
    out, err = capsys.readouterr()
    for text in (out, err):
        assert text.rstrip("\n").isprintable()
