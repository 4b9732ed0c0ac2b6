"""A full disk ends the writing in one sentence, and leaves what was there."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.machine.whole_files import write_whole
from sim.responses.records import Results
from sim.showing.archive.results import write_results

HOME = Path(__file__).resolve().parents[3]


def test_a_file_has_its_content_and_the_usual_rights(tmp_path: Path) -> None:
    write_whole(tmp_path / "file", b"one two", "the file")
    assert (tmp_path / "file").read_bytes() == b"one two"
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE((tmp_path / "file").stat().st_mode) == 0o666 & ~mask
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_disk_that_says_late_that_it_is_full_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    (tmp_path / "file").write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(*((os, "fsync") if call == "fsync" else (Path, "replace")), full)
    with pytest.raises(OutputError, match="the file cannot be written \\(No space left on device\\)"):
        write_whole(tmp_path / "file", b"new", "the file")
    assert (tmp_path / "file").read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["file"]


SAVE = """
import resource, sys
from pathlib import Path
import sim
from sim.showing.folder import results_folder
from sim.showing.tables import write_traced
results = sim.read_results(sys.argv[1])
def save():
    with results_folder(Path(sys.argv[2]), overwrite=False) as folder:
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), resource.RLIM_INFINITY))
        write_traced(results, folder)
try:
    save()
except sim.BounceplanError as fault:
    print(fault, file=sys.stderr)
    sys.exit(2)
"""
"""Python ignores the signal of a file too large (signal module), so that it is an OSError as on a full disk."""


@pytest.mark.parametrize("room", [1, 400_000])
def test_a_disk_that_is_full_while_results_are_written(traced_attic: Results, tmp_path: Path, room: int) -> None:
    """The operating system itself refuses to write more than so many bytes (setrlimit, POSIX.1-2017)."""
    write_results(traced_attic, tmp_path / "given.h5")
    assert (tmp_path / "given.h5").stat().st_size > room
    (tmp_path / "disk").mkdir()
    command = [sys.executable, "-c", SAVE, str(tmp_path / "given.h5"), str(tmp_path / "disk" / "out"), str(room)]
    done = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
    assert done.returncode == 2, done.stderr[-2000:]
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert "results.h5: the results cannot be written (File too large); choose a folder" in line
    assert list((tmp_path / "disk").iterdir()) == []
