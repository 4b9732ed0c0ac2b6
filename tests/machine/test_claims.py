"""Claims on a place: one process at a time, cleared when its holder is dead, and what was moved away put back."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.machine.claims import LOCK, NEW, OLD, claimed, clear_dead, hidden_work, is_hidden_work
from sim.machine.locks import NoLocks
from sim.machine.whole_files import write_whole
from sim.showing.folder import add_to_contents, adding_to, results_folder

HOME = Path(__file__).resolve().parents[2]
HOLD = """
import sys, time
from pathlib import Path
from sim.machine.claims import claimed
with claimed(Path(sys.argv[1])) as claim:
    claim.part.mkdir()
    (claim.part / "half").write_text("x")
    print("held", flush=True)
    time.sleep(60)
"""


def holder(place: Path) -> subprocess.Popen[str]:
    child = subprocess.Popen([sys.executable, "-c", HOLD, str(place)], cwd=HOME, stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    assert child.stdout.readline() == "held\n"
    return child


def test_a_second_process_is_told_whose_it_is_and_a_dead_ones_is_cleared(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with holder(out) as child:
        whose = rf"process {child.pid} on .* is writing there; wait until it is done"
        with pytest.raises(OutputError, match=whose), results_folder(out, overwrite=False):
            raise AssertionError("must not begin")
        with pytest.raises(OutputError, match="is writing there"):
            write_whole(out, "words")
        child.send_signal(signal.SIGKILL)
    assert hidden_work(out).is_dir()
    with results_folder(out, overwrite=False) as folder:
        (folder / "a").write_text("1")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_a_killed_run_left_goes_when_anything_is_written_beside_it(tmp_path: Path) -> None:
    with holder(tmp_path / "out") as child:
        clear_dead(tmp_path)
        assert hidden_work(tmp_path / "out").is_dir()  # its holder lives
        child.send_signal(signal.SIGKILL)
    write_whole(tmp_path / "other.txt", "words")
    assert [path.name for path in tmp_path.iterdir()] == ["other.txt"]


def test_results_that_were_moved_away_when_a_run_was_killed_come_back(tmp_path: Path) -> None:
    """Where two folders cannot be swapped in one step, the old one is away for a moment."""
    out, killed = (
        tmp_path / "out",
        """
import os, sys
from pathlib import Path
import sim.machine.claims
from sim.showing.folder import results_folder
sim.machine.claims._exchange = lambda *_: False
rename = Path.rename
Path.rename = lambda self, to: os.kill(os.getpid(), 9) if self.name == "new" else rename(self, to)
with results_folder(Path(sys.argv[1]), overwrite=True) as folder:
    (folder / "a").write_text("new")
""",
    )
    with results_folder(out, overwrite=False) as folder:
        (folder / "a").write_text("old")
    done = subprocess.run([sys.executable, "-c", killed, str(out)], cwd=HOME, check=False)
    assert done.returncode == -signal.SIGKILL
    assert not out.exists()
    with pytest.raises(OutputError, match="exists; choose another"), results_folder(out, overwrite=False):
        raise AssertionError("must not begin")
    assert (out / "a").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_folders_of_others_and_those_without_an_owner_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".mine").mkdir()
    (tmp_path / ".mine" / "photo").write_text("mine")
    nameless = tmp_path / ".x.bounceplan-part"
    (nameless / OLD).mkdir(parents=True)
    (nameless / OLD / "a").write_text("somebody's")
    (nameless / LOCK).write_text("")
    clear_dead(tmp_path)
    assert (tmp_path / ".mine" / "photo").exists()
    assert (nameless / OLD / "a").exists()


def test_where_there_are_no_locks_the_process_number_counts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As on network disks that know none (flock(2): ENOLCK, EOPNOTSUPP)."""

    def none(*_: object) -> None:
        raise OSError(errno.ENOLCK, os.strerror(errno.ENOLCK))

    monkeypatch.setattr("fcntl.flock", none)
    whose = rf"process {os.getpid()} .* as far as can be seen"
    with claimed(tmp_path / "out"), pytest.raises(OutputError, match=whose), claimed(tmp_path / "out"):
        raise AssertionError("must not begin")
    assert list(tmp_path.iterdir()) == []
    ended = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, check=True)
    work = hidden_work(tmp_path / "out")
    work.mkdir()
    (work / NEW).write_text("half")
    host = os.uname().nodename.encode()
    (work / LOCK).write_bytes(b"words\n" + ended.stdout.strip() + b"\n" + host + b"\nout")
    clear_dead(tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert NoLocks.__doc__


def test_a_long_name_has_a_hidden_folder_too(tmp_path: Path) -> None:
    place = tmp_path / ("n" * 255)
    assert len(hidden_work(place).name) <= 255
    assert is_hidden_work(hidden_work(place).name)
    write_whole(place, "words")
    assert place.read_text() == "words"


def test_a_folder_that_may_only_be_read_inside_does_not_stay(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with results_folder(out, overwrite=False) as folder:
        (folder / "A").mkdir()
        (folder / "A" / "a").write_text("1")
    (out / "A").chmod(0o555)
    with results_folder(out, overwrite=True) as folder:
        (folder / "b").write_text("1")
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_two_write_to_one_folder_one_after_the_other_only(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with results_folder(out, overwrite=False) as folder:
        (folder / "a").write_text("1")
    with adding_to(out) as additions:
        (additions.beside(out) / "p.png").write_text("picture")
        assert not (out / "p.png").exists()
        with pytest.raises(OutputError, match="is writing there"), results_folder(out, overwrite=True):
            raise AssertionError("must not begin")
        additions.move_in()
    assert (out / "p.png").exists()
    assert "p.png" in (out / "contents.txt").read_text()
    add_to_contents(out, [])
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_claim_whose_release_is_never_reached_goes_when_the_process_ends(tmp_path: Path) -> None:
    # a request to stop can come between any two steps of a context's end, before anything of ours runs
    script = """
import sys
from pathlib import Path
from sim.machine import claims, stopping
stopping.install()
release = claims.Claim.release
def interrupted(claim):
    claims.Claim.release = release
    raise KeyboardInterrupt
claims.Claim.release = interrupted
with claims.claimed(Path(sys.argv[1])) as claim:
    claim.part.write_text("half")
"""
    ended = subprocess.run([sys.executable, "-c", script, tmp_path / "page"], capture_output=True, text=True)
    assert ended.returncode != 0
    assert "KeyboardInterrupt" in ended.stderr
    assert list(tmp_path.iterdir()) == []
