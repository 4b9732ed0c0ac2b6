"""Panels out of the stock: hung where the reflection strikes, in pairs, within what the scene allows; kept, undone."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import parse_scene
from sim.studies.view.hanging import partner_of
from sim.studies.view.requests import state_message
from tests.studies.view.test_session import Pages
from tests.studies.view.view_cases import ROOM, room_file

NONE = ROOM[: ROOM.index("[[panels]]")]
STOCK = """
[treatment]
panels = 4
leave_bare = ["front wall"]
no_drilling = ["ceiling"]
stock = [
  { name = "large", size = [0.6, 1.2], material = "100 mm wool", available = 3 },
  { name = "small", size = ["30 cm", "60 cm"], material = "50 mm wool", price = 40, mass_kg = 3 },
]
"""
Open = Callable[[str], Pages]


@pytest.fixture
def opened(tmp_path: Path) -> Open:
    return lambda text: Pages(room_file(tmp_path, text))


def names(pages: Pages) -> list[str]:
    return [one.name for one in pages.session.panels()]


def test_a_pair_hangs_where_the_reflection_strikes_and_moves_together(opened: Open) -> None:
    pages = opened(NONE + STOCK)
    strikes = next(one for one in pages.session.now.reflections if one.surfaces == ("right wall",)).points[1]
    frame = pages.say("hang", stock=0, surface="right wall")
    assert names(pages) == ["right wall panel 1", "left wall panel 1"]
    right, left = pages.session.panels()
    low, high = right.corners_m.min(axis=0), right.corners_m.max(axis=0)
    assert (low - 0.005 <= strikes).all() and (strikes <= high + 0.005).all()
    assert high[0] - low[0] == pytest.approx(0.6) and high[2] - low[2] == pytest.approx(1.2)
    assert np.sort(left.corners_m[:, 0]) == pytest.approx(np.sort(right.corners_m[:, 0]))
    assert any(told["kind"] == "hung" and told["names"] == names(pages) for told in pages.told)
    assert frame["undo"] == 1

    pages.move(**{"right wall panel 1__from_front": 0.5})
    assert pages.value("left wall panel 1.from_front") == pytest.approx(0.5)
    pages.say("move", values={"right wall panel 1.up": 0.7}, alone=True, done=True)
    assert pages.value("left wall panel 1.up") != pytest.approx(0.7)
    pages.say("take", name="left wall panel 1")
    assert names(pages) == ["right wall panel 1"]
    assert not any(name.startswith("left wall panel") for name in pages.session.history.now.values)
    for _ in range(4):
        pages.say("undo")
    assert names(pages) == [] and pages.session.file() == (NONE + STOCK).encode()


def test_panels_of_one_wall_are_mirrored_about_the_middle(opened: Open) -> None:
    pages = opened(NONE + STOCK)
    pages.say("hang", stock=1, surface="rear wall", turned=False)
    one, other = pages.session.history.now.scene.blueprint.panels
    assert one.from_left is not None and other.from_left is not None
    assert other.from_left == pytest.approx((3.0 - one.from_left[1], 3.0 - one.from_left[0]))
    found = partner_of(pages.session.history.now.scene.blueprint, one.name)
    assert found is not None and found[0].name == other.name and found[1] == pytest.approx(1.5)
    pages.move(**{f"{one.name}__from_left": one.from_left[0] + 0.1})
    assert pages.value(f"{other.name}.from_left") == pytest.approx(other.from_left[0] - 0.1)


def test_a_panel_alone_and_turned(opened: Open) -> None:
    pages = opened(NONE + STOCK)
    pages.say("hang", stock=0, surface="left wall", turned=True, alone=True)
    (panel,) = pages.session.panels()
    size = panel.corners_m.max(axis=0) - panel.corners_m.min(axis=0)
    assert size[0] == pytest.approx(1.2) and size[2] == pytest.approx(0.6)


def test_what_hangs_already_is_gone_round(opened: Open) -> None:
    """The reflection of the left wall strikes the panel that the scene has: the next hangs beside it."""
    pages = opened(ROOM)
    pages.say("hang", stock=0, surface="left wall", alone=True)
    assert names(pages) == ["side", "left wall panel 1"]


def test_a_panel_without_room_opposite_hangs_alone_and_says_so(opened: Open) -> None:
    """Hot pipes run along the whole of the right wall."""
    pipes = """
[[keep_clear]]
name = "pipes"
kind = "heater"
from_front = [0.05, 3.95]
from_left = [2.85, 2.95]
up = [0.1, 2.4]
"""
    pages = opened(NONE + pipes + STOCK)
    pages.say("hang", stock=0, surface="left wall")
    assert names(pages) == ["left wall panel 1"]
    assert "no room" in next(told["words"] for told in pages.told if told["kind"] == "hung")


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ({"stock": 0, "surface": "front wall"}, "leave it bare"),
        ({"stock": 0, "surface": "floor"}, "no panel can hang there"),
        ({"stock": 0, "surface": "desk top"}, "no panel can hang there"),
        ({"stock": 0, "surface": "../../etc"}, "no panel can hang there"),
        ({"stock": 2, "surface": "left wall"}, "no such panel"),
        ({"stock": -1, "surface": "left wall"}, "no such panel"),
        ({"stock": True, "surface": "left wall"}, "no such panel"),
        ({"stock": "0", "surface": 5}, "no such panel"),
        ({}, "no such panel"),
    ],
)
def test_what_cannot_hang_is_one_sentence(opened: Open, message: dict, words: str) -> None:
    pages = opened(NONE + STOCK)
    pages.say("hang", **message)
    assert words in pages.refused()["words"]
    assert names(pages) == []


def test_the_stock_and_the_number_of_panels_are_the_limit(opened: Open) -> None:
    pages = opened(NONE + STOCK)
    pages.say("hang", stock=0, surface="right wall")
    pages.say("hang", stock=0, surface="rear wall")
    assert names(pages) == ["right wall panel 1", "left wall panel 1", "rear wall panel 1"], "three there are"
    pages.say("hang", stock=0, surface="rear wall")
    assert "all 3 of them hang" in pages.refused()["words"]
    pages.say("hang", stock=1, surface="rear wall", alone=True)
    pages.say("hang", stock=1, surface="rear wall", alone=True)
    assert "allows 4 panels" in pages.refused()["words"]
    pages.say("take", name="nobody")
    assert "no panel of this name" in pages.refused()["words"]


def test_a_kept_file_holds_the_panels_and_leaves_fixings_over_heads_to_the_person(opened: Open) -> None:
    pages = opened(ROOM.replace("# A little room", "# panels below\n# A little room") + STOCK)
    pages.say("hang", stock=1, surface="ceiling", alone=True)
    assert "over heads" in next(told["words"] for told in pages.told if told["kind"] == "hung")
    pages.say("take", name="side")
    pages.move(**{"ceiling panel 1__from_front": 1.0})
    text = pages.session.file().decode()
    assert "# measured twice" in text and "# oak" in text
    (panel,) = tomllib.loads(text)["panels"]
    assert panel["held_by"] == "posts" and panel["price"] == 40 and panel["gap"] == 0.1 and "fixings" not in panel
    again = parse_scene(text, pages.path.parent).blueprint
    meant = pages.session.history.now.scene.blueprint
    assert again.panels[0].from_front == pytest.approx(meant.panels[0].from_front)
    assert again.panels[0].from_front == pytest.approx((1.0, 1.6))
    assert again.panels[0].material == "50 mm wool"


def test_panels_written_in_one_line_stay_in_one_line(opened: Open) -> None:
    line = 'panels = [{ name = "side", surface = "left wall", from_front = [0.7, 1.3], up = [0.6, 1.8], '
    pages = opened(line + 'material = "100 mm wool" }]\n' + NONE)
    pages.say("hang", stock=0, surface="rear wall", alone=True)
    found = tomllib.loads(pages.session.file().decode())["panels"]
    assert [one["name"] for one in found] == ["side", "rear wall panel 1"]
    pages.say("take", name="side")
    pages.say("take", name="rear wall panel 1")
    assert "panels" not in tomllib.loads(pages.session.file().decode())


def test_inches_stay_inches(opened: Open) -> None:
    text = """units = "in"
[room]
box = { width = 120, depth = 160, height = 96 }
[listener]
ear = { from_front = 64, from_left = 60, up = 47 }
[[loudspeakers]]
name = "left"
model = "point"
acoustic_axis = { from_front = 24, from_left = 36, up = 47 }
"""
    pages = opened(text)
    pages.say("hang", stock=0, surface="left wall", alone=True)
    (panel,) = tomllib.loads(pages.session.file().decode())["panels"]
    assert panel["up"][1] - panel["up"][0] == pytest.approx(1.2 / 0.0254, abs=1e-4)


def test_wool_is_as_thick_as_a_length(opened: Open) -> None:
    pages = opened(ROOM)
    pages.say("type", field="side.thickness", text="12 cm")
    assert pages.session.history.now.scene.blueprint.panels[0].material == "120 mm wool"
    field = next(one for thing in pages.frame["handles"] for one in thing["fields"] if one["name"] == "side.thickness")
    assert field["kind"] == "length" and field["value"] == pytest.approx(0.12)


def test_a_page_brings_its_setting_to_a_new_program(opened: Open) -> None:
    pages = opened(NONE + STOCK)
    pages.say("hang", stock=0, surface="right wall")
    pages.say("take", name="left wall panel 1")
    pages.move(left__tilt=4.0, ear__from_front=1.7)
    kept = next(told for told in reversed(pages.told) if told["kind"] == "state")
    assert kept == state_message(pages.session.history.now, pages.session.number)
    new = Pages(pages.path)
    new.say("restore", state=kept)
    assert new.session.history.now.scene.blueprint == pages.session.history.now.scene.blueprint
    assert new.session.file() == pages.session.file()
    new.say("restore", state={**kept, "values": {}})
    assert new.value("ear.from_front") == pytest.approx(1.7), "whoever moves things first is not overrun"


def test_of_several_pages_the_newest_setting_counts_whichever_comes_first(opened: Open) -> None:
    pages = opened(ROOM)
    kept = []
    for tilt in (2.0, 3.0, 4.0):
        pages.move(left__tilt=tilt)
        kept.append(state_message(pages.session.history.now, pages.session.number))
    new = Pages(pages.path)
    for state, tilt in ((kept[1], 3.0), (kept[0], 3.0), (kept[2], 4.0), (kept[1], 4.0)):
        new.say("restore", state=state, session="one")
        assert new.value("left.tilt") == tilt
    new.say("restore", state={**kept[0], "number": 99}, session="another")
    assert new.value("left.tilt") == 4.0, "of another session: which is newer nobody knows"
    new.move(left__tilt=5.0)
    new.say("restore", state={**kept[0], "number": 99}, session="one")
    assert new.value("left.tilt") == 5.0, "whoever moves things here is not overrun"


@pytest.mark.parametrize(
    "change",
    [
        {"file": "another"},
        {"values": {"left.tilt": "high"}},
        {"values": {"left.tilt": float("inf")}},
        {"values": {"nobody.x": 1.0}},
        {"values": [1, 2]},
        {"values": {"left.from_front": -9.0}},
        {"hung": [["a", 0, "left wall"]]},
        {"hung": [["a", 99, "left wall", [["up", 0.5, 1.0], ["from_front", 0.5, 1.0]], False]]},
        {"hung": [["a", 0, "left wall", [["sideways", 0.5, 1.0]], False]]},
        {"taken": ["nobody"]},
    ],
)
def test_a_setting_that_makes_no_sense_here_is_one_sentence(opened: Open, change: dict) -> None:
    pages = opened(ROOM)
    pages.move(left__tilt=4.0)
    kept = state_message(pages.session.history.now, pages.session.number)
    new = Pages(pages.path)
    new.say("restore", state={**kept, **change})
    assert new.refused()["words"].endswith((".", "number"))
    assert new.session.file() == ROOM.encode()
