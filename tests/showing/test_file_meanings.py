"""Every file that is written is listed with what it is for."""

from __future__ import annotations

import re
from pathlib import Path

import sim
from sim.showing.file_meanings import TRACED, listed_files, meaning_of

WRITTEN = re.compile(r'(?:folder|out|home) / "(\w+\.\w+)"')


def test_every_file_that_a_command_writes_has_a_meaning() -> None:
    sources = [path.read_text(encoding="utf-8") for path in Path(sim.__file__).parent.rglob("*.py")]
    names = {name for source in sources for name in WRITTEN.findall(source)}
    assert {"arrivals.csv", "sheets.pdf", "tolerance.png"} <= names
    assert [name for name in sorted(names) if not meaning_of(name)] == []
    assert all(meaning_of(name) for name in TRACED)


def test_a_meaning_is_said_once_and_names_are_in_order(tmp_path: Path) -> None:
    (tmp_path / "A").mkdir()
    for name in ("arrivals.csv", "A/arrivals.csv", "A/plan.png", "theirs.txt"):
        (tmp_path / name).write_text("")
    assert listed_files(tmp_path) == (
        "  A/arrivals.csv  Every way sound takes to a listener, ranked by harm.",
        "  A/plan.png      The room from above.",
        "  arrivals.csv",
        "  theirs.txt",
    )
