"""The page on a results folder: words first, each picture with what it shows, no part that could run or load."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.showing.file_meanings import folder_page, write_folder_page


class Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.images: list[str] = []
        self.links: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        if tag == "img":
            self.images.append(str(found["src"]))
            assert found["alt"]
        if tag == "a":
            self.links.append(str(found["href"]))
        if tag not in ("meta", "img"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "A").mkdir()
    for name in ("README.txt", "arrivals.csv", "plan.png", "map_desk_top.png", "room_from_left.png", "odd & <b>.png"):
        (tmp_path / name).write_text("")
    (tmp_path / "A" / "plan.png").write_text("")
    return tmp_path


def test_words_come_first_then_pictures_in_the_order_one_asks_for_them_then_files(folder: Path) -> None:
    text = folder_page(folder, ["Demo <den>", "left: desk top -1 dB & more", "", "second"])
    seen = Seen()
    seen.feed(text)
    assert seen.open == []
    assert seen.images == [
        "room_from_left.png",
        "plan.png",
        "map_desk_top.png",
        "odd%20%26%20%3Cb%3E.png",
        "A/plan.png",
    ]
    assert {"README.txt", "arrivals.csv"} <= set(seen.links)
    assert text.index("left: desk top -1 dB &amp; more") < text.index("room_from_left.png")
    assert "<h1>Demo &lt;den&gt;</h1>" in text
    assert not re.search(r"<script|https?:", text)


def test_without_pictures_there_are_words_and_files(tmp_path: Path) -> None:
    (tmp_path / "arrivals.csv").write_text("")
    text = folder_page(tmp_path, ["Den", "words"])
    assert "Pictures" not in text
    assert "Every path to a listener" in text


def test_a_place_that_cannot_be_written_is_told(folder: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_folder_page(folder, ["Den"], folder / "no" / "index.html")
