"""Panels that work and one that was left out, by measurements made apart from the program."""

from __future__ import annotations

import csv
import datetime
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

import sim
from sim.__main__ import main
from sim.errors import SceneError
from sim.studies.proof.page_parts import proof_page
from sim.studies.proof.panel_readings import judged, panel_proofs
from sim.studies.proof.records import AS_PROMISED, LESS, NOTHING, UNTOLD, Proof
from sim.studies.proof.target_readings import target_proofs
from sim.studies.proof.text import proof_lines
from tests.builders.panelled_rooms import PANELS, measured, scene_text

EVERYTHING = [one.name for one in PANELS]
SHIFT = np.array([0.03, 0.01, -0.02])


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the scene, and both files of a measurement before, all panels, and all but the cloud."""
    folder = tmp_path_factory.mktemp("panels")
    (folder / "scene.toml").write_text(scene_text(), encoding="utf-8")
    measured(folder, "before", (), shift=SHIFT)
    measured(folder, "all", EVERYTHING, seed=2, gain=0.1)
    measured(folder, "two", EVERYTHING[:2], seed=3)
    return folder


def files(home: Path, name: str) -> list[Path]:
    return [home / f"{name}-{side}.wav" for side in ("left", "right")]


@pytest.fixture(scope="module")
def whole(home: Path) -> Iterator[Proof]:
    yield sim.proof(home / "scene.toml", files(home, "before"), files(home, "all"))


@pytest.fixture(scope="module")
def two(home: Path, whole: Proof) -> Iterator[Proof]:
    yield sim.proof(whole.results, files(home, "before"), files(home, "two"))


def verdicts(found: Proof) -> dict[str, str]:
    return {one.panel: one.verdict for one in found.panels}


def test_panels_that_work_are_said_to(whole: Proof) -> None:
    assert verdicts(whole) == dict.fromkeys(EVERYTHING, AS_PROMISED)
    for one in whole.panels:
        assert one.measured_db > 8.0 and one.error_db < 5.0
        assert [each.frequency_hz for each in one.octaves] == [1000.0, 2000.0, 4000.0, 8000.0]


def test_a_panel_that_was_left_out_is_named(two: Proof) -> None:
    assert verdicts(two) == {"left panel": AS_PROMISED, "right panel": AS_PROMISED, "cloud": NOTHING}
    lines = proof_lines(two)
    assert any(line.startswith("cloud (ceiling) does nothing: ") for line in lines)
    assert "  cloud: look whether it hangs, and where: nothing of it shows in the measurement." in lines
    assert sum("look whether it hangs" in line for line in lines) == 1


def test_the_same_measurement_twice_proves_nothing(home: Path, whole: Proof) -> None:
    again = panel_proofs(whole.before, sim.match(whole.results, files(home, "before")))
    assert {one.verdict for one in again} == {NOTHING}
    for one in again:
        assert abs(one.measured_db) < 1e-9 or abs(one.measured_db) < one.error_db


def test_gain_does_not_matter_and_a_turned_monitor_is_told(home: Path, whole: Proof, tmp_path: Path) -> None:
    """The second measurement is 14 dB softer; then its treble is taken away, as off the axis of a monitor."""
    assert np.abs(whole.turned_db).max() < 1.5 and "was turned or moved" not in sim.words(whole)
    rate, wave = wavfile.read(files(home, "two")[0])
    dull = np.convolve(wave, [0.5, 0.5])  # 4.8 dB down at 16 kHz, 1.2 dB at 8 kHz
    dull = np.convolve(np.convolve(dull, [0.5, 0.5]), [0.5, 0.5])
    wavfile.write(tmp_path / "dull.wav", rate, dull.astype(np.float32))
    found = sim.proof(whole.results, files(home, "before"), [tmp_path / "dull.wav", files(home, "two")[1]])
    assert "left monitor: the direct sound itself is -" in sim.words(found)


def test_the_target_passes_and_fails(whole: Proof, two: Proof) -> None:
    assert [one.met for one in two.targets] == ["fail", "fail"] and two.met == "fail"
    first = two.targets[0]
    assert first.after.via == first.promised.via == "front wall"
    assert first.after.level_db == pytest.approx(first.promised.level_db, abs=1.5)
    assert "  left monitor: +6." in sim.words(two)
    scene = whole.results.scene
    for level_db, met in ((-1.0, "pass"), (-3.0, "borderline")):
        target = scene.blueprint.target.model_copy(update={"level_db": level_db})
        wanted = replace(scene, blueprint=scene.blueprint.model_copy(update={"target": target}))
        found = target_proofs(whole.before, replace(whole.after, results=replace(whole.results, scene=wanted)))
        assert {one.met for one in found} == {met}


def test_files_and_page(two: Proof, tmp_path: Path) -> None:
    place = sim.save(two, tmp_path / "out", pictures=True)
    names = {each.name for each in place.iterdir()}
    tables = {"panel_proof.csv", "target_proof.csv"}
    assert names == {*tables, "proof.html", "proof.txt", "measured_before_and_after.png", "contents.txt"}
    with (place / "panel_proof.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["panel"] for row in rows] == [name for name in EVERYTHING for _ in range(4)]
    cloud = rows[-1]
    assert cloud["verdict"] == "nothing" and float(cloud["promised_db"]) > 10.0 > float(cloud["error_db"])
    page = (place / "proof.html").read_text(encoding="utf-8")
    assert "<script" not in page and "http" not in page.replace("http-equiv", "")
    assert "The target is not met. 2 of 3 panels are measured to work as promised." in page
    assert "Overhead panels: fix to joists" in page and "`" not in page
    assert proof_page(two, datetime.date(2026, 3, 1)).count("1 March 2026") == 1
    assert (place / "measured_before_and_after.png").stat().st_size > 50_000


def test_the_command(home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before, after = ([str(one) for one in files(home, name)] for name in ("before", "two"))
    options = ["--before", *before, "--after", *after, "-o", str(tmp_path / "out"), "--no-pictures"]
    assert main(["proof", str(home), *options]) == 0
    said = capsys.readouterr().out
    assert "left panel (left wall) works as promised" in said and "proof.html" in said
    assert "measured_before_and_after.png" not in said


def test_bad_input_is_told_before_anything_is_traced(
    home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before, after = ([str(one) for one in files(home, name)] for name in ("before", "two"))
    wavfile.write(tmp_path / "silent.wav", 48_000, np.zeros(5000, dtype=np.int16))
    bare = tmp_path / "bare.toml"
    bare.write_text(scene_text().split("[[panels]]")[0], encoding="utf-8")
    for scene, first, second, said in (
        (home, before, [after[0], str(tmp_path / "silent.wav")], "it is silent"),
        (home, before, after[:1], "--after: 1 file, and 2 before; give one of each monitor, in the same order"),
        (bare, before, after, "panels: the scene has none, so nothing was promised"),
        (home, [str(tmp_path / "gone.wav"), before[1]], after, "gone.wav"),
    ):
        assert main(["proof", str(scene), "--before", *first, "--after", *second]) == 2
        error = capsys.readouterr().err
        assert said in error and "finding paths" not in error
        assert len(error.strip().splitlines()) == 1


def test_names_are_asked_for_where_files_are_fewer(home: Path, whole: Proof) -> None:
    with pytest.raises(SceneError, match=r"1 file for 2 \(left, right\)"):
        sim.proof(whole.results, files(home, "before")[:1], files(home, "all")[:1])
    alone = sim.proof(whole.results, files(home, "before")[:1], files(home, "all")[:1], loudspeakers=["left"])
    assert [one.loudspeaker for one in alone.targets] == ["left"]
    assert verdicts(alone)["left panel"] == AS_PROMISED


def test_verdicts_of_a_number() -> None:
    assert judged(12.0, 11.0, 3.0) == AS_PROMISED
    assert judged(12.0, 20.0, 3.0) == AS_PROMISED
    assert judged(12.0, 6.0, 3.0) == LESS
    assert judged(12.0, 1.0, 3.0) == NOTHING
    assert judged(12.0, 1.0, 7.0) == UNTOLD  # neither nothing nor the promise can be ruled out
    assert judged(1.0, 0.0, 0.1) == UNTOLD
