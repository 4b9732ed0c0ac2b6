"""Every command that README, docs and demo rooms print runs as written and ends with exit code 0.

Each page has a folder of its own with a copy of the demo rooms, and its commands run there one after the other, because
later ones read what earlier ones wrote.  A line that several pages print runs once, with the first of them.  Pictures,
which take most of the time, are drawn by the first command of each kind; for the others the process that draws is left
out, and `BOUNCEPLAN_EVERY_PICTURE=1` has it draw for all.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from sim.cli import parser
from sim.machine.processes import own_python
from tests.builders.demo_measurement import write_recordings

HOME = Path(__file__).resolve().parent.parent
PAGES = [HOME / "README.md", *sorted((HOME / "docs").rglob("*.md")), *sorted((HOME / "scenes").rglob("*.md"))]
NOT_RUN = {
    "--scheduler": "needs a cluster; tests/studies/sweep/test_cluster.py starts one",
    "bounceplan view": "it serves until it is ended; tests/browser/test_view_page.py opens and ends it",
    "bounceplan sketch": "it serves until it is ended; tests/browser/test_sketch_page.py opens and ends it",
    "myattic": "it is made on the page; tests/browser/test_sketch_page.py makes such rooms and checks them",
    "recording.wav": "the recording is the reader's own; tests/studies/impulse/test_impulse.py makes one",
    "room.glb": "the scan is the reader's own; tests/studies/scan/test_scan_command.py makes one",
    "left.wav": "measured by the reader; tests/studies/match and tests/studies/proof have such files",
    "bounceplan record": "it needs a sound card; tests/studies/record/test_record.py has a stand-in",
    "phrase.wav": "music that the reader brings; tests/studies/listen/test_listen.py makes some",
    "speaker.sofa": "the file is the reader's own; tests/studies/loudspeaker/test_loudspeaker_files.py writes one",
}
"""What is printed with something of the reader's: marked by a word, with where it is tested."""
NOTHING_DRAWN = """
import sys
import sim.showing.child_drawing as drawing
from sim.__main__ import main
drawing.run_child = lambda *_, **__: None
sys.exit(main())
"""
"""The whole command but for the process that draws."""
PLACEHOLDER = re.compile(r"(?<![\w-])[A-Z][A-Z_]+(?![\w-])|\.\.\.")


def printed(page: Path) -> list[str]:
    """Lines of blocks that start with our command, and commands with arguments inside sentences."""
    text = page.read_text(encoding="utf-8")
    blocks = re.findall(r"^ *```\w*\n(.*?)^ *```", text, flags=re.DOTALL | re.MULTILINE)
    lines = [line.strip() for block in blocks for line in block.splitlines()]
    found = [line for line in lines if re.match(r"(\.venv/bin/)?bounceplan ", line)]
    prose = re.sub(r"^ *```\w*\n.*?^ *```", "", text, flags=re.DOTALL | re.MULTILINE)
    inside = (" ".join(words.split()) for words in re.findall(r"(?<!`)`([^`]+)`(?!`)", prose))
    found += [words for words in inside if words.startswith("bounceplan ") and len(words.split()) > 2]
    return [line for line in found if not PLACEHOLDER.search(line) and not any(word in line for word in NOT_RUN)]


def assigned() -> dict[str, list[str]]:
    """Commands by page, each with the first page that prints it."""
    seen: set[str] = set()
    pages: dict[str, list[str]] = {}
    for page in PAGES:
        fresh = [line for line in printed(page) if line not in seen]
        seen |= set(fresh)
        if fresh:
            pages[page.relative_to(HOME).as_posix()] = fresh
    return pages


COMMANDS = assigned()


def first_of_its_kind(line: str) -> bool:
    """Whether no page before prints the same command; with and without --picture are two kinds."""
    kinds = [(other.split()[1], "--picture" in other) for lines in COMMANDS.values() for other in lines]
    every = [other for lines in COMMANDS.values() for other in lines]
    return every.index(line) == kinds.index((line.split()[1], "--picture" in line))


def test_enough_is_found() -> None:
    """A change of the pages' form must not empty the test below."""
    assert sum(map(len, COMMANDS.values())) >= 23
    assert {"README.md", "docs/how-to/orientation.md", "docs/how-to/stands.md"} <= set(COMMANDS)
    tutorial = printed(HOME / "docs" / "tutorial" / "first-room.md")
    assert len(tutorial) == 3 and set(tutorial) < set(COMMANDS["README.md"])
    assert {"scenes/attic-lying/README.md", "scenes/bedroom-on-stands/README.md"} <= set(COMMANDS)
    assert len(COMMANDS["README.md"]) == 7
    assert len(COMMANDS["docs/tutorial/finished-room.md"]) == 4


def test_no_two_commands_write_to_one_place() -> None:
    """Who reads all pages in one checkout is never refused because another page was there before."""
    places: dict[str, str] = {}
    for line in (line for lines in COMMANDS.values() for line in lines):
        chosen = parser().parse_args(shlex.split(line, comments=True)[1:])
        names = (
            (chosen.folder,)
            if chosen.command == "new"
            else (getattr(chosen, "output", None), getattr(chosen, "picture", None))
        )
        for place in (str(name) for name in names if name is not None):
            assert place not in places, (place, line, places[place])
            places[place] = line


BROUGHT = {"docs/tutorial/finished-room.md": write_recordings}
"""What the reader of a page has made before its commands run; what they then say stands on the page."""


def shown(page: str) -> list[str]:
    """Lines of what commands say, as a page shows them; three points stand for the rest of a line."""
    blocks = re.findall(
        r"^```text\n(.*?)^```", (HOME / page).read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE
    )
    lines = (line.strip().removesuffix("...").strip() for block in blocks for line in block.splitlines())
    return [line for line in lines if line]


@pytest.mark.printed
@pytest.mark.parametrize("page", COMMANDS)
def test_commands_run_as_printed(page: str, tmp_path: Path) -> None:
    shutil.copytree(HOME / "scenes", tmp_path / "scenes")
    if page in BROUGHT:
        BROUGHT[page](tmp_path)
    said = ""
    for line in COMMANDS[page]:
        arguments = shlex.split(line, comments=True)[1:]
        parser().parse_args(arguments)
        drawn = first_of_its_kind(line) or bool(os.environ.get("BOUNCEPLAN_EVERY_PICTURE"))
        whole = own_python("sim.__main__", *arguments)
        bare = [sys.executable, "-P", "-c", NOTHING_DRAWN, *arguments]
        done = subprocess.run(
            whole if drawn else bare,
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(HOME)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{line}\n{done.stdout[-500:]}\n{done.stderr[-1500:]}"
        said += done.stdout
    if page in BROUGHT:
        assert [line for line in shown(page) if line not in said] == []
