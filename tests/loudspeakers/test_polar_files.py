"""Tables of two orbits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import SceneError
from sim.loudspeakers.measured import read_measured
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
    assert any("no phase" in note for note in data.notes)
    assert len(data.notes) == 1


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
    assert any("steps of up to 30 degrees" in note for note in coarse.notes)
    assert any("ends at 60 degrees" in note for note in coarse.notes)
    assert db_at(coarse, 170.0, "horizontal", 1000.0) == pytest.approx(db_at(coarse, 60.0, "horizontal", 1000.0))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("angle_deg,level_db\n0,0\n", "no column frequency_hz"),
        ("", "no column frequency_hz"),
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
        (HEAD + "\n1000,vertical,0,0\n1000,vertical,40,-1\n2000,vertical,0,0\n", "has 1 frequencies at"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "box.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(SceneError, match=words) as told:
        read_measured(path, "models.mine.file")
    assert "box.csv" in str(told.value)
    assert "\n" not in str(told.value)


def test_other_kinds_of_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="no file"):
        read_measured(tmp_path / "none.csv", "file")
    (tmp_path / "a.txt").write_text("x")
    with pytest.raises(SceneError, match="of no kind that can be read"):
        read_measured(tmp_path / "a.txt", "file")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SceneError, match="cannot be read as text"):
        read_measured(tmp_path / "b.csv", "file")
