"""Variants: the file with other numbers in it, comments and units kept; nothing of anybody else's is replaced."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene, play, read_scene
from sim.errors import OutputError
from sim.studies.view.keeping import file_bytes, keep
from sim.studies.view.state import State, base_of
from tests.room_texts import room_text
from tests.studies.view.view_cases import ROOM, room_file


@pytest.fixture
def start(tmp_path: Path) -> State:
    return State(base_of(read_scene(room_file(tmp_path))))


def test_the_first_setting_is_the_file_byte_for_byte(start: State) -> None:
    back = start.moved({"left.tilt": 3.0}).moved({"left.tilt": 0.0})
    assert file_bytes(back) == ROOM.encode()


def test_comments_units_and_order_stay(start: State) -> None:
    moved = start.moved({"left.from_left": 1.0, "desk.height": 0.7, "left.toe_in": 25.0, "side.from_front": 0.8})
    text = file_bytes(moved).decode()
    changed = {
        (old, new) for old, new in zip(ROOM.splitlines(), text.splitlines(), strict=False) if old != new and "=" in new
    }
    assert 'from_left = "100 cm", up = 0.98 }   # to the tweeter' in text
    assert "# its name" in text and "# oak" in text and "# measured twice" in text
    assert "toe_in_deg = 25" in text
    assert changed
    assert parse_scene(text, start.base.scene.folder).blueprint.panels[0].from_front == pytest.approx((0.8, 1.4))


def test_a_variant_says_what_was_meant(start: State) -> None:
    moved = start.moved({"left.from_front": 0.675, "left.height": 1.11, "ear.from_front": 1.7, "screen.at.up": 0.9})
    again = parse_scene(file_bytes(moved).decode(), start.base.scene.folder).blueprint
    meant = moved.scene.blueprint
    for one, other in zip(again.loudspeakers, meant.loudspeakers, strict=True):
        assert one.acoustic_axis.from_front == pytest.approx(other.acoustic_axis.from_front)
        assert one.acoustic_axis.up == pytest.approx(other.acoustic_axis.up)
        assert one.pad == pytest.approx(other.pad)
    assert again.listener.ear.from_front == pytest.approx(1.7)
    assert again.furniture[1].at.up == pytest.approx(0.9)


def test_inches_stay_inches(tmp_path: Path) -> None:
    text = ROOM.replace('units = "m"', 'units = "in"')
    for metres in ("3.0", "4.0", "2.5", "1.6", "1.5", "1.2", "0.62", "1.02", "2.05", "0.18", "0.29", "0.23", "0.06"):
        text = text.replace(f"= {metres}", f"= {float(metres) / 0.0254:.3f}")
    for span in ("[0.45, 1.20]", "[0.70, 2.30]", "[0.7, 1.3]", "[0.6, 1.8]"):
        low, high = (float(one) / 0.0254 for one in span.strip("[]").split(","))
        text = text.replace(span, f"[{low:.3f}, {high:.3f}]")
    for metres in ("0.74", "0.75", "0.86", "0.5", "0.3"):
        text = text.replace(f"= {metres}\n", f"= {float(metres) / 0.0254:.3f}\n")
        text = text.replace(f"= {metres},", f"= {float(metres) / 0.0254:.3f},")
    text = text.replace("up = 0.86 }", "up = 33.858 }")
    start = State(base_of(read_scene(room_file(tmp_path, text))))
    kept = file_bytes(start.moved({"ear.from_front": 64 * 0.0254})).decode()
    assert "ear = { from_front = 64" in kept


def test_a_variant_lies_beside_its_scene_and_replaces_only_itself(start: State) -> None:
    moved = start.moved({"left.tilt": 3.0})
    path = keep(moved, "steeper", ours=frozenset())
    assert path == start.base.scene.path.parent / "steeper.toml"
    assert path.read_bytes() == file_bytes(moved)
    with pytest.raises(OutputError, match="there already"):
        keep(moved, "steeper", ours=frozenset())
    keep(start, "steeper", ours=frozenset({path}))
    assert path.read_bytes() == ROOM.encode()
    with pytest.raises(OutputError, match="there already"):
        keep(moved, "scene", ours=frozenset({path}))
    assert start.base.scene.path.read_bytes() == ROOM.encode()


@pytest.mark.parametrize("name", ["", "../up", "a/b", "/etc/x", ".hidden", "a\\b", "a\0b", "x" * 99, "con:1"])
def test_names_that_are_no_plain_names_are_refused(start: State, name: str) -> None:
    with pytest.raises(OutputError, match="plain name"):
        keep(start, name, ours=frozenset())


def test_a_variant_says_which_set_of_monitors_plays(tmp_path: Path) -> None:
    """Opened with --set, the file alone would play the other one: the variant says which, though nothing moved."""
    text = room_text((3.0, 4.0, 2.5), (1.6, 1.5, 1.2), {"near": (0.6, 1.5, 1.2), "main": (0.2, 1.4, 1.2)})
    text = text.replace('name = "near"', 'name = "near"\nset = "near"').replace(
        'name = "main"', 'name = "main"\nset = "mains"'
    )
    played = play(room_file(tmp_path, 'plays = "near"\n' + text), "mains")
    kept = file_bytes(State(base_of(played))).decode()
    assert parse_scene(kept, tmp_path).blueprint.plays == "mains"
    same = play(room_file(tmp_path, 'plays = "mains"\n' + text), "mains")
    assert file_bytes(State(base_of(same))) == ('plays = "mains"\n' + text).encode()
