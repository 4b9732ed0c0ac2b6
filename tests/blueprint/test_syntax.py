from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from tests.blueprint.scene_texts import DESK, TEN_LINES, changed

TWICE = "keep one of them; loudspeakers, furniture and openings use double brackets, [[loudspeakers]]"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            changed("top = 0.74", "top = 0,74", DESK),
            'line 6: top = 0,74 cannot be read as TOML; write the decimal point as ".", for example 4.20.',
        ),
        (
            changed("depth = 4.2", "depth = 4,2"),
            "line 2: box = { width = 3.4, depth = 4,2, height = 2.4 } cannot be read as TOML;"
            ' write the decimal point as ".", for example 4.20.',
        ),
        (
            changed("top = 0.74", "top = 29 in", DESK),
            "line 6: top = 29 in cannot be read as TOML; a length with its own unit goes in quotes,"
            ' for example "24 in".',
        ),
        (
            changed("top = 0.74", "top: 0.74", DESK),
            'line 6: top: 0.74 cannot be read as TOML; write "=" between key and value, for example width = 3.40.',
        ),
        (
            changed('"left"', "left"),
            'line 6: name = left cannot be read as TOML; put texts in quotes, for example name = "left".',
        ),
        (
            changed('"left"', '"left'),
            'line 6: name = "left cannot be read as TOML; close the quote that is opened in this line.',
        ),
        (
            changed("[room]", "[room"),
            "line 1: [room cannot be read as TOML; close the section name with ], for example [room].",
        ),
        (
            TEN_LINES + "notes = [\n",
            "line 11: notes = [ cannot be read as TOML; close the bracket or brace that is opened here.",
        ),
        (
            TEN_LINES + "[method]\nseed = True",
            "line 12: seed = True cannot be read as TOML; write true or false, in small letters and without quotes.",
        ),
        (TEN_LINES + "[room]\n", f"line 11: [room] gives the same key or section a second time; {TWICE}."),
        (TEN_LINES + 'name = "x"\n', f'line 11: name = "x" gives the same key or section a second time; {TWICE}.'),
        (
            TEN_LINES + "what is this\n",
            "line 11: what is this cannot be read as TOML; write key = value, texts in quotes, lists in [ ],"
            " tables in { }, and comments after #.",
        ),
    ],
)
def test_the_whole_sentence(text: str, sentence: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        parse_scene(text, tmp_path)
    assert str(fault.value) == f"scene.toml, {sentence}"
