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
    assert {"arrivals.csv", "drawings.pdf", "tolerance.png"} <= names
    assert [name for name in sorted(names) if not meaning_of(name)] == []
    assert all(meaning_of(name) for name in TRACED)


def test_a_meaning_is_said_once_and_names_are_in_order(tmp_path: Path) -> None:
    (tmp_path / "A").mkdir()
    for name in ("arrivals.csv", "A/arrivals.csv", "A/plan.png", "theirs.txt"):
        (tmp_path / name).write_text("")
    assert listed_files(tmp_path) == (
        "  A/arrivals.csv  Every path to a listener, ranked by harm.",
        "  A/plan.png      The room from above.",
        "  arrivals.csv",
        "  theirs.txt",
    )


def test_of_many_files_three_are_named_and_the_rest_left_to_the_readme(tmp_path: Path) -> None:
    for name in ("README.txt", "arrivals.csv", "reflection_points.csv", "room_from_left.png", "results.h5"):
        (tmp_path / name).write_text("")
    assert len(listed_files(tmp_path)) == 5
    for number in range(9):
        (tmp_path / f"map_{number}.png").write_text("")
    few = listed_files(tmp_path)
    assert [line.split()[0] for line in few] == [
        "room_from_left.png",
        "arrivals.csv",
        "reflection_points.csv",
        "README.txt:",
    ]
    assert few[-1].endswith("the other 10 files are for.")
