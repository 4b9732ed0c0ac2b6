from __future__ import annotations

import hashlib
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.toml_text import Key
from sim.errors import SceneError
from tests.blueprint.scene_texts import DESK, TEN_LINES, with_mesh

BEDROOM = Path(__file__).resolve().parents[2] / "scenes" / "bedroom-on-desk" / "scene.toml"


def test_ten_lines_are_enough(tmp_path: Path) -> None:
    assert len(TEN_LINES.splitlines()) == 10
    (tmp_path / "scene.toml").write_text(TEN_LINES)
    scene = read_scene(tmp_path)
    assert scene == read_scene(str(tmp_path / "scene.toml"))
    assert scene.path == tmp_path / "scene.toml"
    assert scene.folder == tmp_path
    assert scene.blueprint.room.box is not None
    assert scene.blueprint.room.box.depth == 4.2
    assert scene.blueprint.listener.ear.coordinates == (1.6, 1.7, 1.2)
    assert [loudspeaker.model for loudspeaker in scene.blueprint.loudspeakers] == ["two-way", "two-way"]
    assert scene.warnings == ()


def test_defaults_that_matter_are_listed(tmp_path: Path) -> None:
    defaulted = parse_scene(TEN_LINES, tmp_path).defaulted
    assert set(defaulted) >= {
        "room.materials",
        "listener.head_box",
        "loudspeakers[0].model",
        "loudspeakers[1].tilt_deg",
        "models.two-way",
        "air.temperature_c",
        "target.level_db",
        "method.order",
    }
    reported = (
        TEN_LINES
        + 'tilt_deg = 2\nmodel = "mine"\n[models.mine]\nkind = "two-way"\nwidth = 0.2\n[air]\ntemperature_c = 22\n'
    )
    fewer = parse_scene(reported, tmp_path).defaulted
    assert not {"loudspeakers[1].tilt_deg", "loudspeakers[1].model", "air.temperature_c", "models.mine.width"} & set(
        fewer
    )
    assert {"loudspeakers[0].tilt_deg", "models.mine.height", "models.two-way", "air.relative_humidity_percent"} <= set(
        fewer
    )


def test_the_digest_covers_text_and_meshes(tmp_path: Path) -> None:
    text = with_mesh("room.obj")
    (tmp_path / "room.obj").write_bytes(b"v 0 0 0\n")
    assert parse_scene(text, tmp_path).digest == hashlib.sha256(text.encode() + b"v 0 0 0\n").hexdigest()[:12]
    before = parse_scene(text, tmp_path).digest
    (tmp_path / "room.obj").write_bytes(b"v 0 0 1\n")
    assert parse_scene(text, tmp_path).digest != before
    assert parse_scene(text + "# a comment\n", tmp_path).digest != parse_scene(text, tmp_path).digest


@pytest.mark.parametrize(
    ("units", "factor"), [("m", 1.0), ("cm", 100.0), ("mm", 1000.0), ("in", 1 / 0.0254), ("ft", 1 / 0.3048)]
)
def test_the_same_room_in_any_unit_is_the_same_blueprint(units: str, factor: float, tmp_path: Path) -> None:
    text = re.sub(r"\d+\.\d+", lambda number: f"{float(number.group()) * factor:.10f}", TEN_LINES + DESK)
    metric = parse_scene(TEN_LINES + DESK, tmp_path).blueprint
    other = parse_scene(f'units = "{units}"\n' + text, tmp_path).blueprint
    assert other.units == units
    assert other.model_copy(update={"units": "m"}) == metric


def test_a_value_with_its_own_unit_does_not_care_for_the_files_unit(tmp_path: Path) -> None:
    text = 'units = "ft"\n' + TEN_LINES.replace(
        "width = 3.4, depth = 4.2, height = 2.4", 'width = "340 cm", depth = "4200 mm", height = 8'
    )
    box = parse_scene(text.replace("1.6,", "5,").replace("1.7,", "5,"), tmp_path).blueprint.room.box
    assert box is not None
    assert (box.width, box.depth, box.height) == (3.4, 4.2, 2.4384)


def test_defaults_are_metres_whatever_the_files_unit(tmp_path: Path) -> None:
    text = 'units = "cm"\n' + TEN_LINES.replace("0.42", "42").replace("1.", "100.").replace("2.", "200.").replace(
        "3.4", "340"
    ).replace("4.2", "420")
    assert parse_scene(text, tmp_path).blueprint.listener.head_box.depth == 0.30
    assert parse_scene(text, tmp_path).blueprint.method.grid == 0.05


def test_a_missing_file_and_a_folder_without_scene(tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        read_scene(tmp_path / "nowhere.toml")
    assert str(fault.value) == (
        f"{tmp_path / 'nowhere.toml'}: there is no such file; name a scene file or a folder with a scene.toml."
    )
    with pytest.raises(SceneError) as fault:
        read_scene(tmp_path)
    assert str(fault.value) == (
        f"{tmp_path}: this folder holds no scene.toml; write one with: bounceplan new {tmp_path}"
        " --box WIDTH DEPTH HEIGHT."
    )


def test_a_file_that_is_not_utf8(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_bytes(b'title = "B\xfcro"\n')
    with pytest.raises(SceneError) as fault:
        read_scene(tmp_path)
    assert str(fault.value) == (
        f"{tmp_path / 'scene.toml'}: byte 10 is not UTF-8 text; save the file as UTF-8 in a text editor."
    )


def test_a_byte_order_mark_and_other_line_ends_do_not_matter(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_bytes(b"\xef\xbb\xbf" + TEN_LINES.replace("\n", "\r\n").encode())
    assert read_scene(tmp_path).blueprint == parse_scene(TEN_LINES, tmp_path).blueprint


@pytest.mark.parametrize("junk", ["title = " + "9" * 5000, "title = " + "[" * 5000 + "]" * 5000])
def test_numbers_and_nesting_beyond_all_measure(junk: str, tmp_path: Path) -> None:
    with pytest.raises(SceneError) as fault:
        parse_scene(junk, tmp_path)
    assert str(fault.value) == (
        "scene.toml: a number or a nesting in it is beyond all measure; check that this is a scene file."
    )


def test_a_file_too_large_for_a_scene(tmp_path: Path) -> None:
    (tmp_path / "scene.toml").write_bytes(b"#" * 2_000_001)
    with pytest.raises(SceneError, match="it has 2,000,001 bytes; name the scene file, not a mesh or a recording"):
        read_scene(tmp_path)


DOCUMENT = tomllib.loads(BEDROOM.read_text(encoding="utf-8"))


def places(value: Any, key: Key = ()) -> list[Key]:
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [key, *(place for part, entry in inner for place in places(entry, (*key, part)))]


def with_junk(value: Any, key: Key, junk: Any) -> Any:
    """Return a copy of a document with junk at one place."""
    if not key:
        return junk
    if isinstance(value, dict):
        return {part: with_junk(entry, key[1:], junk) if part == key[0] else entry for part, entry in value.items()}
    return [with_junk(entry, key[1:], junk) if part == key[0] else entry for part, entry in enumerate(value)]


WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=8)
TABLES = st.dictionaries(st.text("abc", min_size=1), st.integers(), max_size=2)
KNOWN_WORDS = st.sampled_from(["desk", "ear", "built in", "mm", "three-way"])
LISTS = st.lists(st.integers() | WORDS, max_size=3)
JUNK = st.one_of(st.booleans(), st.integers(), st.floats(), st.dates(), WORDS, KNOWN_WORDS, LISTS, TABLES)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from([place for place in places(DOCUMENT) if place]), JUNK)
def test_junk_in_any_place_is_taken_or_told_in_one_sentence(place: Key, junk: Any) -> None:
    text = tomli_w.dumps(with_junk(DOCUMENT, place, junk))
    try:
        parse_scene(text, BEDROOM.parent)
    except SceneError as fault:
        sentence = str(fault)
        assert sentence.startswith("scene.toml")
        assert "\n" not in sentence
        assert fault.found
        assert fault.remedy
        assert not any(word in sentence for word in ("Input", "pydantic", "Value error", "type=", "Traceback"))


@settings(max_examples=100, deadline=None)
@given(st.sampled_from([place for place in places(DOCUMENT) if place and isinstance(place[-1], str)]))
def test_any_key_left_out_is_defaulted_or_told_by_name(place: Key) -> None:
    def without(value: Any, key: Key) -> Any:
        if isinstance(value, dict):
            kept = {part: entry for part, entry in value.items() if (part,) != key}
            return {part: without(entry, key[1:]) if part == key[0] else entry for part, entry in kept.items()}
        return [without(entry, key[1:]) if part == key[0] else entry for part, entry in enumerate(value)]

    try:
        parse_scene(tomli_w.dumps(without(DOCUMENT, place)), BEDROOM.parent)
    except SceneError as fault:
        assert str(place[-1]) in str(fault) or str(place[0]) in str(fault)
