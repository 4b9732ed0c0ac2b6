"""The command that maps bounces: a whole folder or none."""

from __future__ import annotations

import argparse
from pathlib import Path

import pytest

from sim.errors import BounceplanError, OutputError
from sim.studies.bounces import bounces_arguments

BEDROOM = str(Path(__file__).resolve().parents[3] / "scenes" / "bedroom-on-desk")


def run(*words: str) -> int:
    parser = argparse.ArgumentParser()
    bounces_arguments(parser)
    chosen = parser.parse_args(list(words))
    code = chosen.run(chosen)
    assert isinstance(code, int)
    return code


def test_it_writes_words_tables_and_pictures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "bounces"
    assert run(BEDROOM, "--rays", "20000", "--seed", "3", "-o", str(out)) == 0
    names = {path.name for path in out.iterdir()}
    assert {"README.txt", "bounce_spots.csv", "bounce_surfaces.csv", "bounces_desk_top.png", "contents.txt"} <= names
    reported = capsys.readouterr().out
    assert "20000 rays from each monitor, seed 3" in reported
    assert "first   desk top" in reported
    with pytest.raises(OutputError, match="--replace"):
        run(BEDROOM, "-o", str(out))


def test_the_same_seed_gives_the_same_tables(tmp_path: Path) -> None:
    for name in ("one", "two"):
        run(BEDROOM, "--rays", "5000", "--seed", "8", "--no-pictures", "-o", str(tmp_path / name))
    first, second = ((tmp_path / name / "bounce_spots.csv").read_bytes() for name in ("one", "two"))
    assert first == second


def test_no_rays_leave_no_folder(tmp_path: Path) -> None:
    with pytest.raises(BounceplanError, match="give at least 1"):
        run(BEDROOM, "--rays", "0", "-o", str(tmp_path / "bounces"))
    assert list(tmp_path.iterdir()) == []
