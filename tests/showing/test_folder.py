from __future__ import annotations

import errno
import os
from pathlib import Path

import h5py
import pytest

from sim.errors import OutputError
from sim.machine.claims import NEW
from sim.showing.folder import CONTENTS, add_to_contents, results_folder


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
    monkeypatch.setattr("sim.machine.claims._exchange", lambda *_: False)
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
    raised = os.strerror(errno.ENOSPC)
    with pytest.raises(OutputError, match=raised), results_folder(tmp_path / "results", overwrite=False):
        raise OSError(errno.ENOSPC, raised)
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


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("a\0b", "control character"),
        ("a\nb", "control character"),
        ("a\x1b[31mb", "control character"),
        ("n" * 300, "300 bytes long and 255 is the most"),
        ("\N{BLACK STAR}" * 100, "300 bytes long"),
    ],
)
def test_names_that_nobody_can_read_or_no_disk_takes_are_refused(name: str, words: str, tmp_path: Path) -> None:
    for place in (tmp_path / name, tmp_path / name / "out"):
        with pytest.raises(OutputError, match=words) as raised:
            make(place, a="1")
        assert "\n" not in str(raised.value)
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_itself_and_one_to_nowhere(tmp_path: Path) -> None:
    (tmp_path / "round").symlink_to(tmp_path / "round")
    with pytest.raises(OutputError, match="nothing can be written there"):
        make(tmp_path / "round", a="1")
    (tmp_path / "nowhere").symlink_to(tmp_path / "real")
    make(tmp_path / "nowhere", a="1")
    assert (tmp_path / "real" / "a").read_text() == "1"
    assert (tmp_path / "nowhere").is_symlink()


def test_a_parent_that_takes_nothing_is_told() -> None:
    """/proc takes no new folders, whoever asks (proc(5))."""
    with pytest.raises(OutputError, match="no folder can be made here"):
        make(Path("/proc/results"), a="1")


def test_a_folder_that_may_only_be_read_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    out.chmod(0o555)
    monkeypatch.setattr("os.access", lambda *_: False)  # root may write anywhere
    with pytest.raises(OutputError, match="may only be read"), results_folder(out, overwrite=True):
        raise AssertionError("must not begin")
    out.chmod(0o755)


def test_a_scene_is_never_replaced_by_its_own_results(tmp_path: Path) -> None:
    """A plan's folder lists its treated scene among its files; results of that scene must not take its place."""
    out = tmp_path / "plan"
    make(out, scene="mine")
    lost, reads = "scene, which would be lost", [out / "scene"]
    with pytest.raises(OutputError, match=lost), results_folder(out, overwrite=True, reads=reads):
        raise AssertionError("must not begin")
    with pytest.raises(OutputError, match="which would be lost"), results_folder(out, overwrite=True, reads=[out]):
        raise AssertionError("must not begin")
    assert (out / "scene").read_text() == "mine"


def test_hidden_folders_of_killed_runs_are_not_kept_as_somebodys(tmp_path: Path) -> None:
    out = tmp_path / "results"
    make(out, a="old")
    (out / ".A.bounceplan-part").mkdir()
    fill(out / ".A.bounceplan-part", half="x")
    with results_folder(out, overwrite=True) as folder:
        fill(folder, a="new")
    assert names(out) == ["a", CONTENTS]
