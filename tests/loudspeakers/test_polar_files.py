"""Tables of two orbits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.loudspeakers.assembled import read_measured
from sim.loudspeakers.polar_files import read_polar_file

HEAD = "frequency_hz,orbit,angle_deg,level_db"


def level(orbit: str, angle: float, frequency: float) -> float:
    """A box that beams more upright than across, and more at high frequencies."""
    beam = {"horizontal": 4.0, "vertical": 8.0}[orbit] * np.log10(frequency / 100.0)
    return float(85.0 - beam * (1.0 - np.cos(np.radians(angle))))


def table(
    path: Path,
    angles: list[float] | None = None,
    orbits: tuple[str, ...] = ("horizontal", "vertical"),
    frequencies: tuple[float, ...] = (200.0, 1000.0, 5000.0),
    head: str = HEAD,
    mark: str = ",",
    phase: bool = False,
) -> Path:
    rows = [head + (",phase_deg" if phase else "")]
    for frequency in frequencies:
        for orbit in orbits:
            for angle in angles if angles is not None else list(range(-170, 181, 10)):
                row = f"{frequency},{orbit},{angle},{level(orbit, angle, frequency):.6f}"
                rows.append(row + (f",{30.0 * np.sin(np.radians(angle)):.6f}" if phase else ""))
    text = "\n".join(rows)
    path.write_text(text if mark == "," else text.replace(",", ";").replace(".", ","), encoding="utf-8")
    return path


def db_at(data, angle: float, orbit: str, frequency: float) -> float:  # type: ignore[no-untyped-def]
    turned = np.radians(angle)
    way = [np.cos(turned), np.sin(turned), 0.0] if orbit == "horizontal" else [np.cos(turned), 0.0, np.sin(turned)]
    return float(20.0 * np.log10(np.abs(data.pressure([way], [frequency])[0, 0])))


@pytest.mark.parametrize("mark", [",", ";"])
def test_what_was_measured_comes_back_relative_to_the_axis(tmp_path: Path, mark: str) -> None:
    data = read_measured(table(tmp_path / "box.csv", mark=mark), "file")
    for orbit in ("horizontal", "vertical"):
        for angle in (0.0, 30.0, -110.0, 180.0):
            for frequency in (200.0, 1000.0, 5000.0):
                wanted = level(orbit, angle, frequency) - 85.0
                if angle == 180.0:  # one place for both orbits
                    continue
                assert db_at(data, angle, orbit, frequency) == pytest.approx(wanted, abs=1e-4)
    assert data.notes == (
        "it holds no phase: all directions are taken to be in step with the axis",
        "nothing was measured below 200 Hz and above 5000 Hz: the last values are held",
        "its frequencies are up to 2.3 octaves apart: straight lines are drawn in between",
    )


def test_angles_from_0_to_350_and_the_70_points_of_the_standard(tmp_path: Path) -> None:
    """ANSI/CTA-2034-A measures the axis and the rear once: the vertical orbit leaves them out."""
    path = table(tmp_path / "a.csv", angles=[float(a) for a in range(0, 360, 10)])
    once = (",vertical,0.0,", ",vertical,180.0,")
    lines = [line for line in path.read_text().splitlines() if not any(each in line for each in once)]
    path.write_text("\n".join(lines))
    data = read_polar_file(path, "file")
    assert db_at(data, -60.0, "vertical", 1000.0) == pytest.approx(level("vertical", 60.0, 1000.0) - 85.0, abs=1e-4)
    assert db_at(data, 5.0, "vertical", 1000.0) == pytest.approx(
        0.5 * (level("vertical", 10.0, 1000.0) - 85.0), abs=0.002
    )


def test_phase_is_kept_relative_to_the_axis(tmp_path: Path) -> None:
    data = read_polar_file(table(tmp_path / "a.csv", phase=True), "file")
    assert data.has_phase
    right, left = data.pressure([[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]], [1000.0])[:, 0]
    assert np.degrees(np.angle([right, left])) == pytest.approx([30.0, -30.0], abs=1e-6)


def test_what_symmetry_fills_in_is_said(tmp_path: Path) -> None:
    half = read_polar_file(table(tmp_path / "a.csv", angles=[float(a) for a in range(0, 181, 10)]), "file")
    assert sum("taken from the other side" in note for note in half.notes) == 2
    assert db_at(half, -40.0, "horizontal", 1000.0) == pytest.approx(db_at(half, 40.0, "horizontal", 1000.0))
    one = read_polar_file(table(tmp_path / "b.csv", orbits=("horizontal",)), "file")
    assert any("no vertical orbit" in note for note in one.notes)
    assert db_at(one, 40.0, "vertical", 1000.0) == pytest.approx(db_at(one, 40.0, "horizontal", 1000.0))
    coarse = read_polar_file(table(tmp_path / "c.csv", angles=[-60.0, -30.0, 0.0, 30.0, 60.0]), "file")
    assert any("each orbit has steps of up to 30 degrees" in note for note in coarse.notes)
    assert any("each orbit ends at 60 degrees" in note for note in coarse.notes)
    assert db_at(coarse, 170.0, "horizontal", 1000.0) == pytest.approx(db_at(coarse, 60.0, "horizontal", 1000.0))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("angle_deg,level_db\n0,0\n", "without a column frequency_hz"),
        ("", "it is empty"),
        ("\n \n", "it is empty"),
        ("frequency_khz" + HEAD[12:], "without a column frequency_hz"),
        (HEAD.replace(",", " ") + "\n1000 vertical 0 0\n", "parted by commas, semicolons or tabs"),
        (HEAD + ",level_db\n1000,vertical,0,0,0\n", "two of its columns are called level_db"),
        (
            HEAD + "\n1000,vertical,0,84,2\n",
            "line 2: it has 5 cells where the first line has 4; part cells by semicolons",
        ),
        (HEAD + "\n\n\n1000,vertical,ten,0\n", 'line 4: angle_deg is "ten"'),
        (HEAD + "\n1000,vertical,370,0\n", "line 2: angle_deg is 370"),
        (
            HEAD + "\n1000,vertical,0,0\n1000,vertical,30,-3\n1000,vertical,30,-23\n",
            "at 30 degrees was measured twice, 20",
        ),
        (
            HEAD + "\n1000,vertical,0,0\n1000,vertical,180,-3\n1000,vertical,-180,-23\n1000,vertical,90,-9\n",
            "at 180 deg",
        ),
        (HEAD + "\n1000,vertical,0,0\n2000,vertical,0,0\n", "only the axis was measured"),
        (HEAD + "\n1000,vertical,0,0\n1000,vertical,5,-1\n", "all directions lie within 5.0 degrees of the axis"),
        (HEAD + "\n1000,vertical,0,3.1\n1000,vertical,30,0\n", "runs? from 0 to 3.1, which looks like ratios"),
        (
            HEAD + ",phase_deg\n1000,vertical,0,60,0\n1000,vertical,30,58,-3.14\n",
            "phases end at 3.14, which looks like rad",
        ),
        (HEAD + ",phase_deg\n1000,vertical,0,60,0\n1000,vertical,30,58,\n", "or leave the whole column out"),
        (HEAD + "\n1000,vertical,0,40\n1000,vertical,30,81\n", "it is 41 dB louder 30 degrees off the axis than on it"),
        (HEAD + '\n1000,"vertical,0,0\n' + "1000,vertical,0,0\n" * 9, r"the orbit is \"vertical,0,.{,60}\.\.\.; write"),
        (HEAD + "\n" + "1" * 200000 + ",vertical,0,0\n", "line 2: field larger than field limit"),
        (HEAD + "\n", "no rows"),
        (HEAD + "\n1000,sideways,0,0\n", 'line 2: the orbit is "sideways"'),
        (HEAD + "\n1000,vertical,0,0\n1000,vertical,ten,0\n", 'line 3: angle_deg is "ten"'),
        (HEAD + "\n1000,vertical,0,nan\n", 'level_db is "nan"'),
        (HEAD + "\n1000,vertical,0\n", 'level_db is ""'),
        (HEAD + "\n-5,vertical,0,0\n", "frequency is -5"),
        (HEAD + "\n1000,vertical,0,123456\n", "level is 123456"),
        (HEAD + "\n0.2,vertical,0,0\n20,vertical,0,0\n", "looks like kHz"),
        (HEAD + "\n1000,vertical,0,0\n1000,vertical,1.57,-3\n", "looks like radians"),
        (HEAD + "\n1000,vertical,0,1\n1000,vertical,30,0.4\n", "looks like ratios"),
        (HEAD + "\n1000,vertical,20,0\n1000,vertical,40,-1\n", "nearest direction is 20 degrees off"),
        (
            HEAD + "\n1000,vertical,0,0\n1000,vertical,40,-1\n2000,vertical,0,0\n",
            "at 40 degrees has 1 frequencies, others together have 2",
        ),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "box.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SceneError, match=words) as raised:
        read_measured(path, "models.mine.file")
    assert "box.csv" in str(raised.value)
    assert "\n" not in str(raised.value)


def test_other_kinds_of_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="no file"):
        read_measured(tmp_path / "none.csv", "file")
    (tmp_path / "a.txt").write_text("x")
    with pytest.raises(SceneError, match="of no kind that can be read"):
        read_measured(tmp_path / "a.txt", "file")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SceneError, match="cannot be read as text"):
        read_measured(tmp_path / "b.csv", "file")


def test_rows_in_any_order_with_line_ends_of_any_kind_say_the_same(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv", phase=True)
    plain = read_polar_file(path, "file")
    head, *rows = path.read_text().splitlines()
    mixed = [rows[number] for number in np.random.default_rng(1).permutation(len(rows))]
    for ends in ("\r\n", "\r", "\n\n"):
        path.write_bytes(b"\xef\xbb\xbf" + ends.join([head, *mixed]).encode())
        again = read_polar_file(path, "file")
        assert np.array_equal(again.directions, plain.directions)
        assert again.values == pytest.approx(plain.values)
        assert again.notes == plain.notes


def test_the_same_row_twice_is_one_and_near_ones_are_averaged(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv")
    plain, text = read_polar_file(path, "file"), path.read_text()
    path.write_text(text + "\n" + text.splitlines()[5])
    assert read_polar_file(path, "file").values == pytest.approx(plain.values)
    again = [f"{f},horizontal,-180,{level('horizontal', 180.0, f) + 2.0}" for f in (200.0, 1000.0, 5000.0)]
    path.write_text(text + "\n" + "\n".join(again))
    both = read_polar_file(path, "file")
    wanted = 10.0 * np.log10(0.5 * (1.0 + 10.0**0.2)) + level("horizontal", 180.0, 1000.0) - 85.0
    behind = both.values[(both.directions[:, 0] < -0.999) & (both.horizontal > 0.5)][0, 1]
    assert 20.0 * np.log10(abs(behind)) == pytest.approx(wanted, abs=1e-6)
    (note,) = [note for note in both.notes if "more than once" in note]
    assert note.startswith("the horizontal orbit at 180 degrees was measured more than once, 2.")


def test_a_column_of_phases_may_be_empty_or_hold_nothing(tmp_path: Path) -> None:
    plain = table(tmp_path / "a.csv").read_text().splitlines()
    for cell in ("", "0"):
        path = tmp_path / "b.csv"
        path.write_text("\n".join([plain[0] + ",phase_deg", *(f"{row},{cell}" for row in plain[1:])]))
        data = read_polar_file(path, "file")
        assert not data.has_phase
        assert any("no phase" in note for note in data.notes)


def test_doubtful_units_and_unread_columns_are_said(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv", phase=True)
    head, *rows = path.read_text().splitlines()
    cells = [row.split(",") for row in rows]
    turned = [",".join([*row[:4], str(float(row[4]) / 60.0), "x"]) for row in cells]
    path.write_text("\n".join([head + ",Remark", *turned]))
    notes = read_polar_file(path, "file").notes
    assert "its phases stay within 0.5 degrees: they are taken to be degrees, not radians" in notes
    assert 'columns that are not read: "remark"' in notes


def test_an_orbit_with_only_axis_and_rear_was_not_measured(tmp_path: Path) -> None:
    path = table(tmp_path / "a.csv")
    rows = [row for row in path.read_text().splitlines() if "vertical" not in row or row.split(",")[2] in ("0", "180")]
    path.write_text("\n".join(rows))
    data = read_polar_file(path, "file")
    assert any("no vertical orbit was measured" in note for note in data.notes)
    assert db_at(data, 60.0, "vertical", 1000.0) == pytest.approx(db_at(data, 60.0, "horizontal", 1000.0))


@pytest.mark.parametrize(
    ("last", "said"), [(170, "each orbit ends at 170"), (150, "each orbit ends at 150"), (180, "")]
)
def test_what_is_open_behind_is_said(tmp_path: Path, last: int, said: str) -> None:
    angles = [float(angle) for angle in range(-min(last, 170), last + 1, 10)]
    notes = read_polar_file(table(tmp_path / "a.csv", angles=angles), "file").notes
    assert [note for note in notes if "bridged" in note and note.startswith(said)] == (
        [f"{said} degrees: behind, it is bridged between its two ends"] if said else []
    )


def test_a_loudspeaker_measured_the_wrong_way_round_is_said(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = [
        f"1000,{o},{a},{80.0 - 4.0 * np.cos(np.radians(a)):.4f}"
        for o in ("horizontal", "vertical")
        for a in range(-170, 181, 10)
    ]
    path.write_text("\n".join([HEAD, *rows]))
    assert any(
        "8 dB louder 180 degrees off the axis than on it" in note for note in read_polar_file(path, "file").notes
    )


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(st.integers(0, 600), st.sampled_from('0123456789.,;-\n\r"eEn\t x')), min_size=1, max_size=12))
def test_damaged_anywhere_it_is_read_or_refused_in_a_sentence(tmp_path: Path, edits: list[tuple[int, str]]) -> None:
    path = table(tmp_path / "a.csv", angles=[0.0, 60.0, 120.0, 180.0], frequencies=(500.0, 2000.0), phase=True)
    text = list(path.read_text(encoding="utf-8"))
    for place, letter in edits:
        text[place % len(text)] = letter
    path.write_text("".join(text), encoding="utf-8")
    try:
        data = read_polar_file(path, "file")
    except SceneError as fault:
        assert "\n" not in str(fault)
        assert len(str(fault)) < 400
    else:
        assert np.isfinite(data.pressure(np.eye(3), [20.0, 1000.0, 20000.0])).all()
