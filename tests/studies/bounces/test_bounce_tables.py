"""Tables and words of a study of bounces read back."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.studies.bounces.text import bounce_lines, write_bounce_readme, write_bounces
from tests.studies.bounces.test_bounce_maps import studied


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_spot_is_a_row(tmp_path: Path) -> None:
    study = studied(0.0)[2]
    write_bounces(study, tmp_path)
    rows = rows_of(tmp_path / "bounce_spots.csv")
    assert len(rows) == len(study.spots)
    for row, spot in zip(rows, study.spots, strict=True):
        assert (row["loudspeaker"], int(row["bounce"]), row["surface"]) == (spot.loudspeaker, spot.bounce, spot.surface)
        place = [float(row[key]) for key in ("from_front_m", "from_left_m", "up_m")]
        assert place == pytest.approx(spot.point.tolist(), abs=6e-4)
        assert float(row["level_db"]) == pytest.approx(spot.level_db, abs=0.06)
        assert float(row["energy_percent"]) == pytest.approx(100.0 * spot.fraction, abs=0.06)


def test_shares_of_surfaces_add_up_to_the_whole_at_the_first_bounce(tmp_path: Path) -> None:
    write_bounces(studied(0.0)[2], tmp_path)
    rows = rows_of(tmp_path / "bounce_surfaces.csv")
    for name in ("left", "right"):
        firsts = [float(r["energy_percent"]) for r in rows if r["loudspeaker"] == name and r["bounce"] == "1"]
        assert sum(firsts) == pytest.approx(100.0, abs=0.1)
        assert firsts == sorted(firsts, reverse=True)


def test_words_name_places_errors_and_seed(tmp_path: Path) -> None:
    study = studied(0.0)[2]
    lines = bounce_lines(study)
    assert "bounces between 0 and 14 ms" in lines[0]
    assert "400000 rays from each monitor, seed 4" in lines[1]
    first = study.spots[0]
    level = f"{first.level_db:.1f} +- {first.error_db:.1f}"
    assert any(f"first   {first.surface}" in line and level in line for line in lines)
    write_bounce_readme(study, tmp_path / "README.txt")
    reported = (tmp_path / "README.txt").read_text(encoding="utf-8")
    for column in ("bounce", "level_db", "error_db", "energy_percent", "delay_ms", "specular_percent"):
        assert f"  {column}" in reported


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_bounces(studied(0.0)[2], tmp_path / "nowhere")
