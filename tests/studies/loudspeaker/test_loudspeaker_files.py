"""What people bring as loudspeaker data, met as a person meets it: refused in a sentence, or read with a word on it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from sim.__main__ import main
from tests.blueprint.scene_texts import TEN_LINES
from tests.loudspeakers.sofa_writing import sphere_grid, unit_vectors
from tests.loudspeakers.test_impulse_folder import folder
from tests.loudspeakers.test_polar_files import HEAD, table
from tests.loudspeakers.test_sofa_file import transfer

Screen = pytest.CaptureFixture[str]
Make = Callable[[Path], Path]


def text(name: str, rows: str) -> Make:
    def make(place: Path) -> Path:
        (place / name).write_text(rows, encoding="utf-8")
        return place / name

    return make


def reworded(change: Callable[[list[str]], list[str]], **more: object) -> Make:
    """A good table whose lines were changed."""

    def make(place: Path) -> Path:
        path = table(place / "box.csv", **more)  # type: ignore[arg-type]
        path.write_text("\n".join(change(path.read_text().splitlines())), encoding="utf-8")
        return path

    return make


def cut_off(place: Path) -> Path:
    path = transfer(place / "box.sofa")
    path.write_bytes(path.read_bytes()[:5000])
    return path


def without(name: str) -> Make:
    def make(place: Path) -> Path:
        irs = folder(place / "irs")
        (irs / name).unlink()
        return irs

    return make


def numbered(column: int, change: Callable[[float], float]) -> Callable[[list[str]], list[str]]:
    """Change the numbers of one column."""

    def rewrite(lines: list[str]) -> list[str]:
        rows = [line.split(",") for line in lines[1:]]
        return [lines[0], *(",".join([*r[:column], f"{change(float(r[column])):.6g}", *r[column + 1 :]]) for r in rows)]

    return rewrite


REFUSED: dict[str, tuple[Make, str]] = {
    "an empty file": (text("box.csv", ""), "box.csv: it is empty; write a line with the names of the columns"),
    "another delimiter": (text("box.csv", HEAD.replace(",", "|")), "parted by commas, semicolons or tabs"),
    "a decimal comma": (
        reworded(lambda lines: [lines[0], *(line.replace(".", ",") for line in lines[1:])]),
        "box.csv, line 2: it has 6 cells where the first line has 4; part cells by semicolons",
    ),
    "not a number": (reworded(lambda lines: [*lines, "200,vertical,0,NaN"]), 'line 218: level_db is "NaN"'),
    "radians": (reworded(numbered(2, np.radians)), "its angles end at 3.14, which looks like radians"),
    "kilohertz": (reworded(numbered(0, lambda hz: hz / 1000.0)), "its frequencies end at 5, which looks like kHz"),
    "ratios": (reworded(numbered(3, lambda db: 10.0 ** (db / 20.0 - 4.0))), "which looks like ratios"),
    "no axis": (reworded(lambda lines: [line for line in lines if ",0," not in line]), "add the measurement at 0 deg"),
    "an angle twice": (
        reworded(lambda lines: [*lines, *(f"{hz},vertical,40,60" for hz in (200, 1000, 5000))]),
        "the vertical orbit at 40 degrees was measured twice",
    ),
    "a missing frequency": (reworded(lambda lines: lines[:-1]), "give every angle the same frequencies"),
    "a file cut off": (cut_off, "box.sofa: it is not an AES69 (netCDF-4) file, or cut off"),
    "ears": (lambda place: transfer(place / "ears.sofa", convention="SimpleFreeFieldHRIR"), "the ears of a listener"),
    "the wrong type of places": (
        lambda place: transfer(place / "a.sofa", position_type="cartesian", position_units="metre"),
        "check Type and Units",
    ),
    "a missing impulse": (without("+030.wav"), 'there is no file "+030.wav"; correct its name, or take the row out'),
    "no table of angles": (without("angles.csv"), "there is no angles.csv in it"),
    "an unknown kind": (text("box.dat", "1"), '"box.dat" is of no kind that can be read'),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_used_is_refused_and_leaves_nothing_behind(what: str, tmp_path: Path, capsys: Screen) -> None:
    make, sentence = REFUSED[what]
    given, picture = make(tmp_path), tmp_path / "drawn" / "box.png"
    picture.parent.mkdir()
    assert main(["loudspeaker", str(given), "--picture", str(picture)]) == 2
    said = capsys.readouterr()
    (message,) = said.err.splitlines()
    assert sentence in message
    assert said.out == ""
    assert list(picture.parent.iterdir()) == []


def half_a_sphere(place: Path) -> Path:
    grid = sphere_grid(10.0, farthest_deg=90.0)
    return transfer(place / "a.sofa", np.column_stack([grid, np.full(len(grid), 2.0)]), unit_vectors(grid))


def one_side(lines: list[str]) -> list[str]:
    return [lines[0], *(line for line in lines[1:] if float(line.split(",")[2]) >= 0.0)]


ASSUMED: dict[str, tuple[Make, str]] = {
    "no phase": (lambda place: table(place / "box.csv"), "it holds no phase: all directions are taken to be in step"),
    "one side": (reworded(one_side), "nothing was measured left: it is taken from the other side"),
    "one orbit": (lambda place: table(place / "box.csv", orbits=("vertical",)), "no horizontal orbit was measured"),
    "coarse steps": (
        lambda place: table(place / "box.csv", angles=[float(a) for a in range(-180, 180, 45)]),
        "each orbit has steps of up to 45 degrees, where ANSI/CTA-2034-A asks for 10",
    ),
    "half a sphere": (half_a_sphere, "nothing was measured beyond 90 degrees off the axis"),
    "few frequencies": (lambda place: table(place / "box.csv", frequencies=(1000.0,)), "nothing was measured below"),
    "a mark at the beginning": (reworded(lambda lines: ["\ufeff" + lines[0], *lines[1:]]), "it holds no phase"),
    "semicolons and decimal commas": (lambda place: table(place / "box.csv", mark=";"), "it holds no phase"),
    "no particular order": (reworded(lambda lines: [lines[0], *reversed(lines[1:])]), "it holds no phase"),
    "no window": (lambda place: folder(place / "irs"), "no window was applied to the impulse responses"),
}


@pytest.mark.parametrize("what", ASSUMED)
def test_what_is_assumed_is_said(what: str, tmp_path: Path, capsys: Screen) -> None:
    make, sentence = ASSUMED[what]
    assert main(["loudspeaker", str(make(tmp_path))]) == 0
    said = capsys.readouterr()
    assert any(line.startswith("  assumed: ") and sentence in line for line in said.out.splitlines())
    assert [line for line in said.err.splitlines() if not line.startswith("  ...")] == []  # compiling, the first time


def test_a_scene_says_what_its_data_were_taken_for(tmp_path: Path, capsys: Screen) -> None:
    """In the set-up sheet too, not only where the data are looked at."""
    table(tmp_path / "box.csv", angles=[float(a) for a in range(0, 181, 30)])
    reported = TEN_LINES.replace('name = "left"\n', 'name = "left"\nmodel = "mine"\n')
    (tmp_path / "scene.toml").write_text(reported + '[models.mine]\nkind = "measured"\nfile = "box.csv"\n', "utf-8")
    assert main(["check", str(tmp_path)]) == 0
    sheet = " ".join(capsys.readouterr().out.split())
    for sentence in ("it holds no phase", "nothing was measured left", "steps of up to 30 degrees"):
        assert f"mine (box.csv): {sentence}" in sheet or sentence in sheet
    (tmp_path / "box.csv").write_text("", encoding="utf-8")
    assert main(["trace", str(tmp_path), "-o", str(tmp_path / "out")]) == 2
    assert "models.mine.file, box.csv: it is empty" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
