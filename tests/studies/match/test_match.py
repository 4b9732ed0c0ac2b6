"""What `match` says, writes and refuses."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

import sim
from sim.__main__ import main
from sim.errors import SceneError
from sim.responses.frequency import SAMPLE_RATE_HZ, SAMPLES
from sim.responses.records import Results
from sim.studies.match.corrected import corrected_scene
from sim.studies.match.naming import UNNAMED, Heard, Predicted, assign, costs, find_seat
from sim.studies.match.records import Match, SeatShift
from sim.studies.match.text import match_lines, seat_words
from tests.builders.measured_rooms import MeasuredRoom, random_room, traced


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> MeasuredRoom:
    return random_room(3, tmp_path_factory.mktemp("room"))


@pytest.fixture(scope="module")
def found(room: MeasuredRoom) -> Iterator[Match]:
    yield sim.match(traced(room), room.files)


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_verdict_comes_first_and_says_what_to_do(found: Match) -> None:
    lines = match_lines(found)
    assert lines[2].startswith("left: ") and lines[3].startswith("right: ")
    whole = "\n".join(lines)
    assert "nothing that is drawn. A string of" in whole
    assert "The microphone was " in whole and "than the ear of the scene" in whole
    assert "cover the spot with something thick" in whole
    assert "-0.00" not in whole and "-0 dB" not in whole


def test_tables_and_picture(found: Match, tmp_path: Path) -> None:
    place = sim.save(found, tmp_path / "out", pictures=True)
    tables = {"peaks.csv", "candidates.csv", "unknown_points.csv", "missing.csv", "measured_dips.csv"}
    names = {each.name for each in place.iterdir()}
    tables |= {"measured_curves.csv", "fitted_numbers.csv", "fitted_levels.csv"}
    assert names == {*tables, "match.txt", "match.png", "contents.txt"}
    fitted = {row["name"]: row for row in rows(place / "fitted_numbers.csv")}
    moved = [name for name, row in fitted.items() if row["moved"] == "yes"]
    assert moved == [one.name for one in found.correction.moved] and "ear, up" in moved
    assert {row["unit"] for row in fitted.values()} == {"m", "C"}
    told = [row for row in rows(place / "fitted_levels.csv") if row["told_by_the_levels"] == "yes"]
    assert told and all(float(row["error_db"]) <= 3.0 for row in told)
    peaks = rows(place / "peaks.csv")
    assert len(peaks) == len(found.rows())
    first = found.responses[0].peaks[0]
    assert float(peaks[0]["time_ms"]) == pytest.approx(first.time_ms, abs=5e-4)
    assert peaks[0]["via"] == first.candidates[0].via
    best = first.candidates[0]
    assert float(peaks[0]["misfit_cm"]) == pytest.approx(100.0 * best.misfit_m, abs=0.06)
    assert best.misfit_m == pytest.approx(best.misfit_ms * 1e-3 * found.results.built.air.speed_of_sound_m_s)
    assert {row["explains_it"] for row in rows(place / "candidates.csv")} == {"yes", "no"}
    curves = rows(place / "measured_curves.csv")
    assert {"measured_db", "predicted_db", "measured_2000_hz_db"} <= set(curves[0])
    assert (place / "match.png").stat().st_size > 50_000


def test_the_command(room: MeasuredRoom, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene = room.files[0].with_name("3.toml")
    options = ["-o", str(tmp_path / "out"), "--no-pictures", "--write-corrected", str(tmp_path / "new.toml")]
    assert main(["match", str(scene), *map(str, room.files), *options]) == 0
    said = capsys.readouterr().out
    assert "peaks above -20 dB within 15 ms are reflections of the scene" in said
    assert "new.toml, with other numbers for ear, from front" in said
    assert (tmp_path / "out" / "match.txt").is_file()
    ears = [sim.read_scene(one).blueprint.listener.ear for one in (scene, tmp_path / "new.toml")]
    before, after = (np.array([ear.from_front, ear.from_left, ear.up]) for ear in ears)
    assert np.linalg.norm(after - before - room.shift) < 0.01 < np.linalg.norm(room.shift)
    same = [line for line in scene.read_text().splitlines() if not line.startswith("ear =")]
    assert [line for line in (tmp_path / "new.toml").read_text().splitlines() if not line.startswith("ear =")] == same


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("3.toml", "this is the scene itself"),
        ("new.txt", "a scene file ends in .toml"),
        ("nowhere/new.toml", "there is no folder"),
        ("taken.toml", "exists; choose another name, or add --replace"),
    ],
)
def test_places_where_a_corrected_scene_cannot_go(
    room: MeasuredRoom, name: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    scene = room.files[0].with_name("3.toml")
    scene.with_name("taken.toml").write_text("mine")
    before = scene.read_bytes()
    assert main(["match", str(scene), *map(str, room.files), "--write-corrected", str(scene.parent / name)]) == 2
    error = capsys.readouterr().err
    assert said in error and "finding paths" not in error
    assert scene.read_bytes() == before and scene.with_name("taken.toml").read_text() == "mine"


def test_bad_files_are_told_before_anything_is_traced(
    room: MeasuredRoom, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    scene, good = room.files[0].with_name("3.toml"), str(room.files[0])
    wavfile.write(tmp_path / "silent.wav", 48_000, np.zeros(5000, dtype=np.int16))
    wavfile.write(tmp_path / "one.wav", 48_000, np.zeros(1, dtype=np.int16))
    (tmp_path / "words.txt").write_text("nothing here\n")
    for name, said in (
        ("silent.wav", "it is silent"),
        ("one.wav", "it holds 1 sample"),
        ("words.txt", "it holds 0 rows"),
    ):
        assert main(["match", str(scene), good, str(tmp_path / name)]) == 2
        error = capsys.readouterr().err
        assert said in error and "finding paths" not in error


def test_names_and_numbers_of_files(room: MeasuredRoom, found: Match) -> None:
    results, one = found.results, room.files[:1]
    with pytest.raises(SceneError, match=r"1 file for 2 \(left, right\); say with --loudspeaker"):
        sim.match(results, one)
    with pytest.raises(SceneError, match='none is called "lft"; perhaps you mean "left"'):
        sim.match(results, one, loudspeakers=["lft"])
    with pytest.raises(SceneError, match='listener: none is called "sofa"'):
        sim.match(results, room.files, listener="sofa")
    alone = sim.match(results, one, loudspeakers=["left"])
    assert [each.loudspeaker for each in alone.responses] == ["left"]


def test_one_crossed_cable_is_told(room: MeasuredRoom, found: Match, tmp_path: Path) -> None:
    rate, wave = wavfile.read(room.files[1])
    wavfile.write(tmp_path / "right.wav", rate, -wave)
    upside = sim.match(found.results, [room.files[0], tmp_path / "right.wav"])
    assert "right: the direct sound begins negative" in sim.words(upside)
    assert "begins negative" not in sim.words(found)


def test_a_room_that_measures_as_calculated_leaves_nothing_to_do(traced_attic: Results, tmp_path: Path) -> None:
    """The attic's own calculated response as a file: desk, edges and two drivers, and not one false alarm."""
    response, files = traced_attic.responses.response, []
    hz = response.frequencies_hz
    shape = np.cos(0.5 * np.pi * np.clip((hz - 18_000.0) / 4_000.0, 0.0, 1.0)) * np.exp(-2j * np.pi * hz * 0.012)
    for number, one in enumerate(traced_attic.built.loudspeakers):
        spectrum = np.zeros(SAMPLES // 2 + 1, dtype=complex)
        spectrum[: len(hz)] = response.total[number, 0] * shape
        wave = np.fft.irfft(spectrum, SAMPLES)
        files.append(tmp_path / f"{one.name}.wav")
        wavfile.write(files[-1], round(SAMPLE_RATE_HZ), (wave / np.abs(wave).max()).astype(np.float32))
    names, drawn = [one.name for one in traced_attic.built.loudspeakers], traced_attic.responses.energy_time
    found = sim.match(traced_attic, files, loudspeakers=names)
    assert sum(len(found.strong(one)) for one in found.responses) > 8
    for one in found.responses:
        assert found.explained(one) >= len(found.strong(one)) - 1
        assert one.missing == ()
        for band in (4, 5, 6):  # 1 to 4 kHz, also where the desk arrives within the pulse of the direct sound
            calculated = drawn.octave_db[*found.numbers(one), band]
            loud = (calculated > -15.0) & (one.curves.time_ms > 0.0) & (one.curves.time_ms < 10.0)
            assert np.median(np.abs(one.curves.octave_db[band] - calculated)[loud]) < 0.5
        deep = [dip for dip in one.dips if dip.depth_db > 4.0]
        assert len(deep) >= 5
        assert all(dip.predicted_hz == pytest.approx(dip.frequency_hz, rel=0.04) for dip in deep)
    assert found.correction.moved == () and "than the ear of the scene" not in sim.words(found)
    assert "By the delays" not in sim.words(found) and "--write-corrected" not in sim.words(found)
    with pytest.raises(SceneError, match="the delays put no number of the scene elsewhere"):
        corrected_scene(found)
    assert np.linalg.norm(found.seat.shift_m) < 0.01 and seat_words(found.seat, "cm") == ""
    assert "drawn; check the tape" not in sim.words(found) and "dB louder" not in sim.words(found)


# Names and the seat, on invented numbers.


def invented(delays: list[float], levels: list[float]) -> Predicted:
    gains = np.random.default_rng(0).normal(size=(len(delays), 3)) * 2.0
    return Predicted((), np.array(delays), np.array(levels), gains)


def test_a_reflection_explains_one_peak_and_the_stranger_stays_without_a_name() -> None:
    predicted = invented([3.0, 5.0], [-10.0, -12.0])
    heard = Heard(np.array([3.0, 3.08, 5.01]), np.array([-10.0, -11.0, -12.0]))
    given = assign(costs(heard, predicted, np.zeros(3), 0.07))
    assert given.tolist() == [0, -1, 1]


def test_a_level_that_is_far_off_is_no_name() -> None:
    predicted = invented([3.0], [-30.0])
    cost = costs(Heard(np.array([3.0]), np.array([-8.0])), predicted, np.zeros(3), 0.07)
    assert cost[0, 0] > UNNAMED and assign(cost).tolist() == [-1]


def test_faint_peaks_do_not_move_the_seat() -> None:
    """Twelve loud reflections tell it; a hundred faint ones, of which some fit anywhere, must not outvote them."""
    true, wrong = np.array([0.04, 0.0, 0.0]), 0
    for seed in range(6):
        rng = np.random.default_rng(seed)
        ways = rng.normal(size=(160, 3))
        gains = 2.9 * (ways / np.linalg.norm(ways, axis=1, keepdims=True) - [0.9, 0.3, 0.0])
        delays = np.concatenate([np.linspace(1.0, 14.0, 12), rng.uniform(1.0, 20.0, 148)])
        levels = np.concatenate([np.full(12, -14.0), rng.uniform(-30.0, -22.0, 148)])
        predicted = Predicted((None,) * 160, delays, levels, gains)  # type: ignore[arg-type]
        loud = delays[:12] + gains[:12] @ true + rng.normal(size=12) * 0.02
        heard = Heard(np.append(loud, rng.uniform(1.0, 20.0, 60)), np.append(levels[:12], np.full(60, -25.0)))
        seat = find_seat([(heard, predicted)], 0.07)
        wrong += bool(np.linalg.norm(seat.shift_m - true) > 0.02)
        assert seat.peaks == 12
    assert wrong == 0


def test_a_peak_far_above_a_reflection_is_something_else() -> None:
    """At the very time, but 11 dB louder; 9 dB may be neighbours that add to it."""
    predicted = invented([3.0], [-30.0])
    given = [
        assign(costs(Heard(np.array([3.0]), np.array([at])), predicted, np.zeros(3), 0.07)) for at in (-19.0, -21.0)
    ]
    assert [one.tolist() for one in given] == [[-1], [0]]


def test_few_peaks_tell_nothing_of_the_seat() -> None:
    seat = find_seat([(Heard(np.array([3.0]), np.array([-10.0])), invented([3.1], [-10.0]))], 0.07)
    assert np.array_equal(seat.shift_m, np.zeros(3)) and np.isinf(seat.error_m).all()
    assert seat_words(seat, "cm") == ""


def test_the_seat_in_words() -> None:
    seat = SeatShift(np.array([0.052, -0.031, 0.002]), np.full(3, 0.006), 20, 0.1, 0.03)
    words = seat_words(seat, "cm")
    assert words == "5 cm further from the front wall (± 0.5 cm) and 3 cm to the left (± 0.5 cm)"
    assert seat_words(replace(seat, error_m=np.full(3, 0.2)), "cm") == ""
