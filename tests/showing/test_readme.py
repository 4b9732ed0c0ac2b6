from __future__ import annotations

import csv
import re
from dataclasses import replace
from pathlib import Path

import pytest

from sim import __version__
from sim.errors import OutputError
from sim.responses.records import Results
from sim.showing.readme import COLUMNS, readme_text, write_readme
from sim.showing.tables import write_arrivals, write_ear_response, write_notches, write_reflection_points


def test_it_says_version_scene_seed_assumptions_and_cautions(traced_attic: Results, tmp_path: Path) -> None:
    write_readme(traced_attic, tmp_path / "README.txt")
    text = (tmp_path / "README.txt").read_text(encoding="utf-8")
    flat = " ".join(text.split())
    assert text.startswith("demo attic\n==========\n")
    for fact in (__version__, traced_attic.scene.digest, "seed 1", "The hatch is closed.", "speed of sound 343.2 m/s"):
        assert fact in flat
    for word in ("Overhead", "Drilling", "tipped", "Fibres", "Fire", "Hearing", "Mains", "licensed trades"):
        assert word in flat
    for word in ("Bass", "Edge diffraction of higher order", "Vibration"):
        assert word in flat
    assert "target.level_db = -15.0" in flat
    assert "room.materials" in flat
    assert max(len(line) for line in text.splitlines()) <= 100


def test_every_column_of_the_tables_is_explained(traced_attic: Results, tmp_path: Path) -> None:
    write_arrivals(traced_attic, tmp_path / "arrivals.csv")
    write_reflection_points(traced_attic, tmp_path / "points.csv")
    explained = set(re.findall(r"\w+", " ".join(COLUMNS)))
    write_ear_response(traced_attic, tmp_path / "ear_response.csv")
    write_notches(traced_attic, tmp_path / "notches.csv")
    for name in ("arrivals.csv", "points.csv", "ear_response.csv", "notches.csv"):
        with (tmp_path / name).open(encoding="utf-8", newline="") as file:
            headings = next(csv.reader(file))
        for heading in headings:
            plain = re.sub(r"(_m|_text)$", "", heading)
            numbered = re.sub(r"\d+", "N", heading) in ("level_N_hz_db", "notch_N_hz")
            assert numbered or {heading, plain} & explained, heading


def test_a_scene_that_says_it_all_took_no_default(traced_attic: Results) -> None:
    reported = replace(traced_attic, scene=replace(traced_attic.scene, defaulted=()))
    assert "nothing: the file says it all" in readme_text(reported)


def test_a_place_that_cannot_be_written_is_told(traced_attic: Results, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_readme(traced_attic, tmp_path / "nowhere" / "README.txt")
