"""Names and texts that no person would type, and scenes larger than any room has things."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from sim.blueprint.reader import parse_scene, read_scene
from sim.blueprint.texts import LONGEST_NAME, MOST_ENTRIES, MOST_LOUDSPEAKERS
from sim.blueprint.toml_text import LARGEST_FILE_BYTES
from sim.errors import SceneError
from tests.blueprint.scene_texts import DESK, TEN_LINES

SECONDS = 5.0
"""What used to take half a minute takes a few hundredths of a second; a crowded machine may take longer."""


def sentence(text: str, folder: Path = Path("nowhere")) -> str:
    begin = time.process_time()
    with pytest.raises(SceneError) as fault:
        parse_scene(text, folder)
    assert time.process_time() - begin < SECONDS
    assert str(fault.value).isprintable()
    return str(fault.value)


def test_a_hundred_kilobytes_of_dotted_keys_are_refused_at_once() -> None:
    dots = ".".join("a" for _ in range(50_000))
    for text in (f"{dots} = 1\n{TEN_LINES}", f"[{dots}]\n", f"x = {{ {dots} = 1 }}\n", f"'a' . {dots}=1"):
        assert "more than 16 parts" in sentence(text)
    many = "\n".join(f"a{number}.b.c.d.e.f = 1" for number in range(10_000))
    assert "it has 100" in sentence(f"{many}\n{TEN_LINES}")


@pytest.mark.parametrize("opening, closing", [("[", "]"), ("{a=", "}")])
@pytest.mark.parametrize("deep", [50, 300, 100_000])
def test_deep_nesting_is_refused_at_once(opening: str, closing: str, deep: int) -> None:
    inner = "1" if closing == "}" else ""
    assert "beyond all measure" in sentence(f"x = {opening * deep}{inner}{closing * deep}\n{TEN_LINES}")


@pytest.mark.parametrize(
    ("written", "called"),
    [
        ("\\u001b[31m", "the control character \\x1b"),
        ("\\n", "a line break"),
        ("\\t", "a tab"),
        ("\\u0000", "\\x00"),
        ("\\u202e", "\\u202e"),
        ("\\u0085", "\\x85"),
        ("\\u2028", "\\u2028"),
    ],
)
def test_control_characters_in_names_are_refused(written: str, called: str) -> None:
    for text in (TEN_LINES.replace('name = "left"', f'name = "le{written}ft"'), f'title = "{written}"\n{TEN_LINES}'):
        assert called in sentence(text).rpartition("holds")[2]
    assert "holds" in sentence(f'{TEN_LINES}[materials."wool{written}"]\n')


def test_sources_may_have_several_lines() -> None:
    text = f'{TEN_LINES}[materials.mine]\nabsorption = [0,0,0,0,0,0,0,0]\nsource = """\none\n\ttwo"""\n'
    assert parse_scene(text, Path("nowhere")).blueprint.materials["mine"].source == "one\n\ttwo"
    assert "holds" in sentence(text.replace("two", "\\u001b[2J"))


def test_long_names_are_refused_and_longest_ones_taken() -> None:
    longest = "ö" * LONGEST_NAME
    scene = parse_scene(TEN_LINES.replace('"left"', f'"{longest}"'), Path("nowhere"))
    assert scene.blueprint.loudspeakers[0].name == longest
    said = sentence(TEN_LINES.replace('"left"', f'"{"x" * 300}"'))
    assert said.endswith("has 300 characters; write at most 80.")
    assert "has 400 characters" in sentence(f'[materials."{"y" * 400}"]\n')
    assert "has 5000 characters" in sentence(f'{TEN_LINES}{DESK}\n[materials.x]\nsource = "{"x" * 5000}"\n')


def test_crowds_are_refused_before_anything_is_built() -> None:
    thing = "[[{}]]\nname = 'a{}'\nacoustic_axis = {{ from_front = 1, from_left = 1, up = 1 }}\n"
    crowd = "".join(thing.format("loudspeakers", number) for number in range(MOST_LOUDSPEAKERS))
    assert f"give at most {MOST_LOUDSPEAKERS}" in sentence(TEN_LINES + crowd)
    crowd = "".join(f"[[furniture]]\nname = 'a{number}'\n" for number in range(MOST_ENTRIES + 1))
    assert sentence(TEN_LINES + crowd) == "scene.toml, line 11, furniture: it has 501 entries; give at most 500."


@pytest.mark.parametrize("value", ["9" * 4000, "9" * 5000, "1e308", "-1e308", "1e99999", "0x" + "f" * 400])
def test_huge_numbers_are_refused(value: str) -> None:
    sentence(TEN_LINES.replace("width = 3.4", f"width = {value}"))
    sentence(f"{TEN_LINES}[method]\norder = {value}\n")
    sentence(f"{TEN_LINES}[method]\ngrid = {value}\n")
    sentence(f"{TEN_LINES}title = {value}\n")


def file_sentence(path: Path) -> str:
    begin = time.process_time()
    with pytest.raises(SceneError) as fault:
        read_scene(path)
    assert time.process_time() - begin < SECONDS
    return str(fault.value)


def test_ways_of_writing_text(tmp_path: Path) -> None:
    path = tmp_path / "scene.toml"
    for coding in ("utf-8", "utf-8-sig"):
        for ends in ("\n", "\r\n"):
            path.write_bytes(TEN_LINES.replace("\n", ends).encode(coding))
            assert read_scene(path).blueprint.loudspeakers[0].name == "left"
    for coding in ("utf-16", "utf-32"):
        path.write_bytes(TEN_LINES.encode(coding))
        assert f"it is {coding.upper()} text; save the file as UTF-8" in file_sentence(path)
    path.write_bytes(TEN_LINES.encode("utf-16-le"))
    assert "line 1: it holds a zero byte" in file_sentence(path)
    path.write_bytes(TEN_LINES.replace("left", "lëft").encode("latin-1"))
    assert "is not UTF-8 text" in file_sentence(path)


def test_other_files_are_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "scene.toml"
    with path.open("wb") as file:
        file.truncate(100_000_000)
    assert "it has 100,000,000 bytes" in file_sentence(path)
    assert LARGEST_FILE_BYTES < 100_000_000
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    assert "no such file" in file_sentence(pipe)
    assert "no such file" in file_sentence(Path("/dev/zero"))
    assert "a\\x00b: there is no such file" in file_sentence(Path("a\0b"))
    assert "shorter path" in file_sentence(Path("x" * 300))
    loop = tmp_path / "loop.toml"
    loop.symlink_to(loop)
    assert file_sentence(loop)
