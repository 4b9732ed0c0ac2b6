"""Tables taken out of a text: nothing else may change, least of all comments; else it is left to the person."""

from __future__ import annotations

import tomllib

import pytest

from sim.errors import SceneError
from sim.studies.view.sketch.tables import without
from tests.studies.view.sketch.sketch_cases import FILE


def test_a_table_goes_and_every_comment_outside_of_it_stays() -> None:
    text = without(FILE, [("openings", "window"), ("furniture", "screen"), ("room.slopes", "eaves")])
    document = tomllib.loads(text)
    assert [item["name"] for item in document["openings"]] == ["hatch"]
    assert [item["name"] for item in document["furniture"]] == ["desk"]
    assert "slopes" not in document["room"]
    gone = [line for line in FILE.splitlines() if "#" in line and line not in text.splitlines()]
    assert [line.split("#")[1] for line in gone] == [" the roof comes down here", " borrowed", " north"]
    assert [line for line in text.splitlines() if line not in FILE.splitlines()] == []


def test_a_last_table_and_one_of_another_line_ending() -> None:
    text = "a = 1\r\n\r\n[[openings]]\r\nname = 'one'\r\nup = [\r\n  1,\r\n  2]\r\n# behind it\r\n"
    assert without(text, [("openings", "one")]) == "a = 1\r\n\r\n# behind it\r\n"


@pytest.mark.parametrize(
    "text",
    [
        "openings = [{ name = 'one' }, { name = 'two' }]\n",
        "[[openings]]\nname = 'one'\n[openings.more]\nx = 1\n",
        "[[openings]]\nname = 'one'\nup = [\n[1, 2]]\n",
    ],
)
def test_what_is_not_clear_is_left_to_the_person(text: str) -> None:
    with pytest.raises(SceneError, match="it cannot be taken out of the file from here; take it out by hand"):
        without(text, [("openings", "one")])
