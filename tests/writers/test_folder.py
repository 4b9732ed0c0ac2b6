from __future__ import annotations

import errno
import os
from pathlib import Path

import h5py
import pytest

from sim.claims import NEW
from sim.errors import OutputError
from sim.writers.folder import CONTENTS, add_to_contents, results_folder


def fill(folder: Path, **files: str) -> None:
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8")


def make(out: Path, **files: str) -> None:
    with results_folder(out, overwrite=False) as folder:
        fill(folder, **files)


def names(folder: Path) -> list[str]:
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


def test_the_folder_appears_when_all_is_written(tmp_path: Path) -> None:
    out = tmp_path / "results"
    with results_folder(out, overwrite=False) as folder:
        assert not out.exists()
        assert folder.is_relative_to(tmp_path)
        fill(folder, a="1")
        (folder / "A").mkdir()
        fill(folder / "A", b="2")
    assert names(out) == ["A", "A/b", "a", CONTENTS]
    assert (out / CONTENTS).read_text().splitlines()[1:] == ["A/b", "a", CONTENTS]
    assert names(tmp_path) == sorted(["results", *(f"results/{name}" for name in names(out))])


@pytest.mark.parametrize("fault", [KeyboardInterrupt, SystemExit, ZeroDivisionError])
def test_an_interrupted_run_leaves_nothing(tmp_path: Path, fault: type[BaseException]) -> None:
    with pytest.raises(fault), results_folder(tmp_path / "results", overwrite=False) as folder:
        fill(folder, a="1")
        raise fault
    assert list(tmp_path.iterdir()) == []


def test_an_interrupted_replacement_leaves_the_old_results(tmp_path: Path) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    with pytest.raises(KeyboardInterrupt), results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
        raise KeyboardInterrupt
    assert (out / "a").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_a_failed_swap_puts_the_old_results_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    rename = Path.rename

    def failing(self: Path, target: Path) -> Path:
        if self.name == NEW:
            raise OSError(errno.EIO, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    monkeypatch.setattr("sim.claims._exchange", lambda *_: False)
    with pytest.raises(OutputError, match="Input/output error"), results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
    assert (out / "a").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_existing_results_are_kept_unless_replaced(tmp_path: Path) -> None:
    out = tmp_path / "results"
    make(out, a="old", b="old")
    with pytest.raises(OutputError, match="exists; choose another with -o, or add --replace"):
        make(out, a="new")
    assert (out / "a").read_text() == "old"
    with results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
    assert (out / "a").read_text() == "new"
    assert names(out) == ["a", CONTENTS]
    assert [path.name for path in tmp_path.iterdir()] == ["results"]


def test_what_others_put_there_is_kept(tmp_path: Path) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    fill(out, notes="mine", clash="mine")
    (out / "photos").mkdir()
    fill(out / "photos", wall="mine")
    with results_folder(out, overwrite=True) as folder:
        fill(folder, a="new", clash="ours")
    assert (out / "notes").read_text() == "mine"
    assert (out / "photos" / "wall").read_text() == "mine"
    assert (out / "clash").read_text() == "ours"
    assert (out / "clash (kept)").read_text() == "mine"
    assert "notes" not in (out / CONTENTS).read_text()


def test_pictures_added_later_go_when_replaced(tmp_path: Path) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    fill(out, picture="old")
    add_to_contents(out, [out / "picture"])
    with results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
    assert names(out) == ["a", CONTENTS]


def test_a_folder_of_other_things_is_never_replaced(tmp_path: Path) -> None:
    out = tmp_path / "holiday"
    out.mkdir()
    fill(out, photo="mine")
    with pytest.raises(OutputError, match="not replaced"), results_folder(out, overwrite=True):
        raise AssertionError("must not begin")
    fill(out, **{CONTENTS: "of my own"})
    (out / "results.h5").write_text("no results")
    with pytest.raises(OutputError, match="not replaced"), results_folder(out, overwrite=True):
        raise AssertionError("must not begin")
    assert (out / "photo").read_text() == "mine"


def test_an_empty_folder_and_one_with_only_our_results_file_may_be_replaced(tmp_path: Path) -> None:
    out = tmp_path / "results"
    out.mkdir()
    with results_folder(out, overwrite=True) as folder, h5py.File(str(folder / "results.h5"), "w") as file:
        file.attrs["program"] = "bounceplan"
    (out / CONTENTS).unlink()
    with results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
    assert names(out) == ["a", CONTENTS]


def test_places_that_cannot_be_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fill(tmp_path, file="1")
    with pytest.raises(OutputError, match="file is a file, not a folder"):
        make(tmp_path / "file" / "results", a="1")
    with pytest.raises(OutputError, match="this is a file"):
        make(tmp_path / "file", a="1")
    out = tmp_path / "results"
    make(out, a="old")
    monkeypatch.chdir(out)
    with pytest.raises(OutputError, match="working in"), results_folder(Path(), overwrite=True):
        raise AssertionError("must not begin")


def test_missing_parents_are_made_and_taken_away_when_the_work_fails(tmp_path: Path) -> None:
    make(tmp_path / "new" / "deep" / "results", a="1")
    assert (tmp_path / "new" / "deep" / "results" / "a").read_text() == "1"
    with pytest.raises(KeyboardInterrupt), results_folder(tmp_path / "other" / "results", overwrite=False):
        raise KeyboardInterrupt
    assert not (tmp_path / "other").exists()


def test_a_full_disk_is_told_and_other_faults_keep_their_traceback(tmp_path: Path) -> None:
    told = os.strerror(errno.ENOSPC)
    with pytest.raises(OutputError, match=told), results_folder(tmp_path / "results", overwrite=False):
        raise OSError(errno.ENOSPC, told)
    with pytest.raises(FileNotFoundError), results_folder(tmp_path / "results", overwrite=False):
        Path(tmp_path / "missing").read_text()
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_folder_stays_a_link(tmp_path: Path) -> None:
    make(tmp_path / "real", a="old")
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with results_folder(tmp_path / "link", overwrite=True) as folder:
        fill(folder, a="new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "a").read_text() == "new"
