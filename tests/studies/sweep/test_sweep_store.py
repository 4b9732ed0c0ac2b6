"""The folder of a sweep: read back equal, safe against a kill at any moment, continued, never mixed with another."""

from __future__ import annotations

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import h5py
import numpy as np
import pytest

from sim.errors import OutputError
from sim.layouts.records import DONE, IMPOSSIBLE, OPEN
from sim.layouts.workers import work_points
from sim.machine.locks import FolderLock
from sim.showing.folder import refuse_folder
from sim.studies.sweep import store as sweep_store
from sim.studies.sweep.run import run_sweep, sweep
from sim.studies.sweep.store import FILE, JOURNAL, SweepStore, read_sweep
from sim.studies.sweep.store_file import plan_key, plan_text, read_plan
from tests.studies.sweep.sweep_scenes import TABLE, planned, same_to_the_bit, swept, table

DRIVER = Path(__file__).with_name("sweep_driver.py")
HOME = DRIVER.parents[3]
IN_FLIGHT = 8
"""One process works out at most so many layouts before they are written."""


@pytest.fixture
def scene(tmp_path: Path) -> Path:
    path = tmp_path / "scene.toml"
    path.write_text(TABLE, encoding="utf-8")
    return path


def test_what_was_found_is_read_back_to_the_bit(tmp_path: Path, scene: Path) -> None:
    vary = {"desk.height": "0.6,-1,0.7", "left.tilt": "0,5"}
    kept = sweep(scene, vary, tmp_path / "out", processes=1)
    plain = swept(planned(scene, vary))
    assert same_to_the_bit(kept, plain)
    assert kept.state.tolist() == [DONE, DONE, IMPOSSIBLE, IMPOSSIBLE, DONE, DONE]
    assert same_to_the_bit(read_sweep(tmp_path / "out"), plain)
    assert not (tmp_path / "out" / JOURNAL).exists()
    with pytest.raises(ValueError, match="read-only"):
        kept.figures.early_db[0] = 1.0


def test_the_file_says_what_it_holds(tmp_path: Path, scene: Path) -> None:
    sweep(scene, {"desk.height": "60cm,70cm"}, tmp_path / "out", processes=1)
    with h5py.File(str(tmp_path / "out" / FILE), "r") as file:
        assert file.attrs["kind"] == "sweep"
        assert file["axes/0"][()].tolist() == [0.6, 0.7]
        assert dict(file["axes/0"].attrs) == {"field": "desk.height", "unit": "m"}
        assert all("meaning" in data.attrs for data in file["figures"].values())
        assert file["state"][()].tolist() == [DONE, DONE]


def test_a_plan_survives_being_written() -> None:
    plan = planned(table(), {"desk.height": "0.6:0.9:0.1", "left.tilt": "0,1"}).plan
    back = read_plan(plan_text(plan))
    assert plan_text(back) == plan_text(plan)
    assert plan_key(back) == plan_key(plan)
    assert [axis.values.tolist() for axis in back.axes] == [axis.values.tolist() for axis in plan.axes]
    assert back.target == plan.target


def test_results_in_the_journal_are_read_before_they_are_in_the_file(tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "0.6:0.9:0.1"})
    store = SweepStore(tmp_path / "out", task.plan)
    store.add(work_points(task, [2, 1]))
    known = read_sweep(tmp_path / "out")
    assert known.state.tolist() == [OPEN, DONE, DONE, OPEN]
    whole = swept(task)
    assert np.array_equal(known.figures.level_db[1:3], whole.figures.level_db[1:3])
    with h5py.File(str(tmp_path / "out" / FILE), "r") as file:
        assert file["state"][()].tolist() == [OPEN] * 4
    store.settle()
    with h5py.File(str(tmp_path / "out" / FILE), "r") as file:
        assert file["state"][()].tolist() == [OPEN, DONE, DONE, OPEN]
    assert read_sweep(tmp_path / "out").state.tolist() == [OPEN, DONE, DONE, OPEN]
    store.add(work_points(task, [0, 3]))
    store.close()
    assert same_to_the_bit(read_sweep(tmp_path / "out"), whole)


def let_die(store: SweepStore) -> None:
    """Leave a store as a kill does, but for what is half-written."""
    store._let_go()


def test_what_a_kill_left_half_written_is_taken_back(tmp_path: Path) -> None:
    """A transaction that was cut short: its rollback journal lies beside the database."""
    task = planned(table(), {"desk.height": "0.6,-1,0.8"})
    store = SweepStore(tmp_path / "out", task.plan)
    store.add(work_points(task, [0]))
    before = (tmp_path / "out" / JOURNAL).read_bytes()
    script = f"""
import os, sqlite3
base = sqlite3.connect({str(tmp_path / "out" / JOURNAL)!r}, isolation_level=None)
base.execute("PRAGMA cache_size = 1")
base.execute("PRAGMA cache_spill = 1")
base.execute("BEGIN IMMEDIATE")
for point in range(1, 3):
    base.execute("INSERT INTO points VALUES (?, 1, zeroblob(300000), 0)", (point,))
os._exit(0)
"""
    let_die(store)
    subprocess.run([sys.executable, "-c", script], check=True)
    assert (tmp_path / "out" / f"{JOURNAL}-journal").is_file()
    assert (tmp_path / "out" / JOURNAL).read_bytes() != before
    assert read_sweep(tmp_path / "out").state.tolist() == [DONE, OPEN, OPEN]
    run_sweep(task, tmp_path / "out")
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))


@pytest.mark.parametrize("how", ["not one", "cut", "turned"])
def test_a_damaged_journal_is_told_in_one_sentence(tmp_path: Path, how: str) -> None:
    task = planned(table(), {"desk.height": "0.6,-1,0.8"})
    store = SweepStore(tmp_path / "out", task.plan)
    store.add(work_points(task, [0]))
    store.settle()
    store.add(work_points(task, [1, 2]))
    let_die(store)
    journal = tmp_path / "out" / JOURNAL
    whole = journal.read_bytes()
    if how == "not one":
        journal.write_bytes(b"something else" * 400)
    if how == "cut":
        journal.write_bytes(whole[: len(whole) // 2])
    if how == "turned":
        base = sqlite3.connect(journal)
        base.execute("UPDATE points SET payload = zeroblob(length(payload)) WHERE point = 2")
        base.commit()
        base.close()
    for attempt in (lambda: read_sweep(tmp_path / "out"), lambda: SweepStore(tmp_path / "out", task.plan)):
        with pytest.raises(OutputError, match=r"sweep.db: the journal of this sweep is damaged \(.*; delete that file"):
            attempt()
    journal.unlink()
    assert SweepStore(tmp_path / "out", task.plan).open_points.tolist() == [1, 2]


def test_an_empty_journal_is_as_none(tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "0.6,0.8"})
    SweepStore(tmp_path / "out", task.plan)._let_go()
    (tmp_path / "out" / JOURNAL).write_bytes(b"")
    assert read_sweep(tmp_path / "out").state.tolist() == [OPEN, OPEN]
    run_sweep(task, tmp_path / "out")
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))


def test_a_journal_of_an_earlier_version_is_told_and_worked_out_anew(tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "0.6,0.8"})
    SweepStore(tmp_path / "out", task.plan)._let_go()
    (tmp_path / "out" / "sweep.journal").write_bytes(b"bounceplan sweep journal 1\n1234")
    reported: list[str] = []
    run_sweep(task, tmp_path / "out", say=reported.append)
    assert reported == ["layouts that an earlier version had left in sweep.journal are worked out anew"]
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))
    assert sorted(each.name for each in (tmp_path / "out").iterdir()) == ["contents.txt", FILE]


def test_only_one_process_works_in_a_folder(tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "0.6,0.8"})
    with SweepStore(tmp_path / "out", task.plan) as store:
        store.add(work_points(task, [0]))
        with pytest.raises(OutputError, match="another sweep is at work in this folder"):
            SweepStore(tmp_path / "out", task.plan)
        assert read_sweep(tmp_path / "out").state.tolist() == [DONE, OPEN]


def test_a_running_sweep_is_not_replaced(tmp_path: Path) -> None:
    """Nor by another process, and what it has found stays."""
    task = planned(table(), {"desk.height": "0.6,0.8"})
    with SweepStore(tmp_path / "out", task.plan) as store:
        store.add(work_points(task, [0]))
        with pytest.raises(OutputError, match="another sweep is at work in this folder"):
            SweepStore(tmp_path / "out", task.plan, replace=True)
        (tmp_path / "scene.toml").write_text(TABLE, encoding="utf-8")
        command = [sys.executable, "-m", "sim", "sweep", str(tmp_path / "scene.toml"), "--vary", "desk.height=0.6,0.8"]
        command += ["-o", str(tmp_path / "out"), "--replace", "--no-pictures"]
        ran = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
        assert ran.returncode == 2
        assert "another sweep is at work in this folder" in ran.stderr
        assert read_sweep(tmp_path / "out").state.tolist() == [DONE, OPEN]
        store.add(work_points(task, [1]))
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))


def test_replacing_begins_anew_also_with_the_same_plan(tmp_path: Path) -> None:
    task = planned(table(), {"desk.height": "0.6,0.8"})
    store = SweepStore(tmp_path / "out", task.plan)
    store.add(work_points(task, [0]))
    store._let_go()
    assert SweepStore(tmp_path / "out", task.plan, replace=True).open_points.tolist() == [0, 1]


def test_a_lock_goes_with_its_process(tmp_path: Path) -> None:
    script = "import sys, time; from pathlib import Path; from sim.machine.locks import FolderLock as L\n"
    script += "kept = L(Path(sys.argv[1])); print('held', flush=True); time.sleep(60)"
    with subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path)], cwd=HOME, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "held\n"
        with pytest.raises(OutputError, match="another sweep is at work"):
            FolderLock(tmp_path)
        with pytest.raises(OutputError, match="another sweep is at work"):  # nor may any other command replace it
            refuse_folder(tmp_path, overwrite=True)
        other.kill()
    FolderLock(tmp_path).release(remove=True)
    assert list(tmp_path.iterdir()) == []


def test_another_sweep_or_a_changed_scene_is_refused_in_the_same_folder(tmp_path: Path, scene: Path) -> None:
    out = tmp_path / "out"
    first = sweep(scene, {"desk.height": "0.6,0.8"}, out, processes=1)
    with pytest.raises(OutputError, match=r"it holds another sweep \(desk.height at 2 values\); choose another folder"):
        sweep(scene, {"desk.height": "0.6,0.8,0.7"}, out, processes=1)
    with pytest.raises(OutputError, match="it holds another sweep"):
        sweep(scene, {"desk.height": "0.6,0.8"}, out, processes=1, tied=False)
    scene.write_text(TABLE.replace("height = 2.5", "height = 2.6"), encoding="utf-8")
    with pytest.raises(OutputError, match=r"the scene has changed since it was begun; .* add --replace"):
        sweep(scene, {"desk.height": "0.6,0.8"}, out, processes=1)
    assert same_to_the_bit(read_sweep(out), first)
    (out / "my notes.txt").write_text("keep", encoding="utf-8")
    anew = sweep(scene, {"desk.height": "0.6,0.8"}, out, processes=1, replace=True)
    assert not same_to_the_bit(anew, first)
    assert (out / "my notes.txt").read_text(encoding="utf-8") == "keep"


def test_foreign_folders_and_files_are_left_alone(tmp_path: Path, scene: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(OutputError, match="exists; choose another"):
        sweep(scene, {"desk.height": "0.6"}, tmp_path / "mine", processes=1)
    with pytest.raises(OutputError, match="holds files but no results"):
        sweep(scene, {"desk.height": "0.6"}, tmp_path / "mine", processes=1, replace=True)
    (tmp_path / "mine" / FILE).write_bytes(b"not HDF5")
    with pytest.raises(OutputError, match="not a whole file of a sweep"):
        read_sweep(tmp_path / "mine")
    with pytest.raises(OutputError, match=r"holds no sweep.h5"):
        read_sweep(tmp_path)


def test_a_full_disk_is_told_and_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    task = planned(table(), {"desk.height": "0.6,0.8"})

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(OutputError, match="No space left"), SweepStore(tmp_path / "out", task.plan) as store:
        store.add(work_points(task, [0]))
        monkeypatch.setattr(sweep_store, "put_in", full)
        store.settle()
    monkeypatch.undo()
    assert read_sweep(tmp_path / "out").state.tolist() == [DONE, OPEN]
    run_sweep(task, tmp_path / "out")
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))


def test_a_full_journal_is_told_and_keeps_what_was_in_it(tmp_path: Path) -> None:
    """The database itself says that it is full, as on a full disk."""
    task = planned(table(), {"desk.height": "0.6,0.8"})
    with pytest.raises(OutputError, match="is full"), SweepStore(tmp_path / "out", task.plan) as store:
        store.add(work_points(task, [0]))
        pages = store._journal._base.execute("PRAGMA page_count").fetchone()[0]
        store._journal._base.execute(f"PRAGMA max_page_count = {pages}")
        for _ in range(100):
            store.add([replace(work_points(task, [1])[0], figures=None, reason="long" * 5000)])
            store._journal._base.execute("UPDATE points SET point = point + 100 WHERE point = 1")
    base = sqlite3.connect(tmp_path / "out" / JOURNAL)
    base.execute("DELETE FROM points WHERE point > 1")
    base.commit()
    base.close()
    assert read_sweep(tmp_path / "out").state.tolist() == [DONE, OPEN]
    run_sweep(task, tmp_path / "out")
    assert same_to_the_bit(read_sweep(tmp_path / "out"), swept(task))


@pytest.mark.parametrize(("processes", "hurry"), [(1, "hurry"), (1, ""), (2, "hurry")])
def test_a_killed_sweep_continues_to_the_same_bits(tmp_path: Path, scene: Path, processes: int, hurry: str) -> None:
    """SIGKILL at chance moments, again and again: the file opens, nothing finished is lost or worked out twice."""
    chance = random.Random(f"{processes} {hurry}")
    field, values, log, out = "desk.height", "0.5:0.9:0.002", tmp_path / "log", tmp_path / "out"
    log.touch()
    total, kills = 201, 0
    command = [sys.executable, str(DRIVER), str(scene), f"{field}={values}", str(out), str(log), str(processes)]
    command += [hurry] if hurry else []
    finished: set[int] = set()
    environment = {**os.environ, "PYTHONPATH": str(HOME)}
    for attempt in range(12):
        begun = log.read_text(encoding="utf-8").split()
        process = subprocess.Popen(command, env=environment, stderr=subprocess.PIPE)
        if attempt < 5:
            wanted = len(begun) + chance.randint(1, 45)
            while process.poll() is None and len(log.read_bytes().split()) < wanted:
                time.sleep(0.002)
            time.sleep(chance.random() * 0.02)
            process.send_signal(signal.SIGKILL)
            kills += 1
        _, said = process.communicate()
        if process.returncode == 0:
            break
        assert process.returncode == -signal.SIGKILL, said.decode()
        if processes > 1:
            settle_down(log)
        if (out / FILE).is_file():
            with h5py.File(str(out / FILE), "r") as file:  # opens for anyone, whenever it was killed
                assert file["state"].shape == (total,)
            known = read_sweep(out)
            now = set(np.flatnonzero(known.state != OPEN).tolist())
            assert finished <= now
            lines = [int(each) for each in log.read_text(encoding="utf-8").split()]
            assert not finished & set(lines[len(begun) :])  # nothing that was finished was begun again
            assert len(set(lines) - now) <= IN_FLIGHT * 3 * processes
            finished = now
    assert process.returncode == 0
    assert kills == 5
    assert finished
    final = read_sweep(out)
    assert same_to_the_bit(final, swept(planned(scene, {field: values})))
    lines = log.read_text(encoding="utf-8").split()
    assert len(lines) - total <= kills * IN_FLIGHT * 3 * processes
    before = len(lines)
    sweep(scene, {field: values}, out)  # all is there: nothing is worked out
    assert len(log.read_text(encoding="utf-8").split()) == before


def settle_down(log: Path) -> None:
    """Wait until workers whose parent was killed have ended too, which they must within seconds."""
    deadline = time.monotonic() + 20.0
    size, still_since = log.stat().st_size, time.monotonic()
    while time.monotonic() - still_since < 0.7:
        assert time.monotonic() < deadline
        time.sleep(0.05)
        if log.stat().st_size != size:
            size, still_since = log.stat().st_size, time.monotonic()
