from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.errors import OutputError
from sim.studies.decay.room_metrics import FIGURES
from sim.studies.decay.tables import write_decay_tables
from sim.studies.decay.text import COLUMNS, decay_readme, write_decay_readme
from tests.studies.decay.decay_studies import traced, with_figures


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_curves_are_written_with_their_errors(tmp_path: Path) -> None:
    study = traced()
    write_decay_tables(study, tmp_path)
    curves = rows(tmp_path / "decay.csv")
    assert len(curves) == 2 * len(study.time_s)
    row = next(row for row in curves if (row["loudspeaker"], row["time_ms"]) == ("right", "40"))
    at = int(np.argmin(np.abs(study.time_s - 0.040)))
    assert float(row["level_1000_hz_db"]) == pytest.approx(study.level_db[1, 0, 3, at], abs=6e-4)
    assert float(row["standard_error_1000_hz_db"]) == pytest.approx(study.level_error_db[1, 0, 3, at], abs=6e-4)


def test_every_figure_has_a_row(tmp_path: Path) -> None:
    study = with_figures(error=0.01, t20_s=0.4, c50_db=np.where(np.arange(7) == 2, np.nan, 8.0))
    write_decay_tables(replace(study, wanted_percent=2.0, wanted_db=0.005), tmp_path)
    table = rows(tmp_path / "decay_figures.csv")
    found = {(row["loudspeaker"], row["listener"], row["octave_hz"], row["figure"]): row for row in table}
    assert len(found) == len(table)
    for octave in study.octaves.nominal_hz:
        for figure in FIGURES:
            assert ("left", "ear", f"{octave:g}", figure) in found
    row = found["left", "ear", "1000", "t20_s"]
    assert (row["value"], row["standard_error"], row["reached"]) == ("0.4000", "0.0100", "no")  # 2.5 %, not 2 %
    assert found["left", "ear", "1000", "c50_db"]["reached"] == "no"
    empty = found["right", "ear", "500", "c50_db"]
    assert (empty["value"], empty["standard_error"]) == ("", "0.010")
    room = found["all", "all", "2000", "t20_s"]
    assert room["answer"] == study.verdicts[4].answer
    assert float(found["all", "all", "2000", "eyring_s"]["value"]) == pytest.approx(study.diffuse.eyring_s[5], abs=1e-4)
    assert {row["judged"] for row in table} == {"yes", "no"}


def test_the_readme_explains_every_column_and_figure(tmp_path: Path) -> None:
    study = traced()
    write_decay_tables(study, tmp_path)
    write_decay_readme(study, tmp_path / "README.txt")
    text = (tmp_path / "README.txt").read_text(encoding="utf-8")
    assert text == decay_readme(study)
    for heading in set(rows(tmp_path / "decay.csv")[0]) | set(rows(tmp_path / "decay_figures.csv")[0]):
        plain = heading if "_hz_db" not in heading else heading.split("_")[0]
        assert any(plain in words for words in COLUMNS), heading
    for row in rows(tmp_path / "decay_figures.csv"):
        assert any(row["figure"] in words.split(", ") for words in COLUMNS), row["figure"]
    assert all(len(line) <= 100 for line in text.splitlines())
    for words in ("jackknife over 16 batches", "Seed 1", "no interference", "Scattering coefficients are estimates"):
        assert words in " ".join(text.split())
    assert study.scene.digest in text


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="the table cannot be written"):
        write_decay_tables(traced(), tmp_path / "none")
    with pytest.raises(OutputError, match="cannot be written"):
        write_decay_readme(traced(), tmp_path / "none" / "README.txt")
