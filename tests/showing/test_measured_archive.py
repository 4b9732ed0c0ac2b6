"""Results of a scene with measured and own drivers: traced, written, read back, and documented."""

from __future__ import annotations

import re
from pathlib import Path

import h5py
import numpy as np

from sim.blueprint.reader import read_scene
from sim.pipeline import trace_scene
from sim.showing.archive.results import read_results, write_results
from tests.blueprint.scene_texts import TEN_LINES
from tests.blueprint.test_loudspeakers import OWN
from tests.loudspeakers.test_polar_files import table

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "reference" / "results-file.md"


def scene(folder: Path) -> Path:
    table(folder / "box.csv")
    text = TEN_LINES.replace('name = "left"\n', 'name = "left"\nmodel = "measured one"\n')
    text = text.replace('name = "right"\n', 'name = "right"\nmodel = "mine"\n')
    text += OWN.replace('polarity = "inverted"\n', "gain_db = 1\n")
    text += '[models."measured one"]\nkind = "measured"\nfile = "box.csv"\n'
    (folder / "scene.toml").write_text(text, encoding="utf-8")
    return folder / "scene.toml"


def test_measured_and_own_drivers_are_traced_and_come_back(tmp_path: Path) -> None:
    results = trace_scene(read_scene(scene(tmp_path)), order=1)
    write_results(results, tmp_path / "results.h5")
    back = read_results(tmp_path / "results.h5")
    left, right = (one.model for one in back.built.loudspeakers)
    ways = np.array([[0.6, 0.64, 0.48], [-0.6, 0.0, 0.8]])
    for model, original in zip((left, right), results.built.loudspeakers, strict=True):
        frequencies = np.array([250.0, 2000.0, 7000.0])
        assert np.array_equal(
            model.radiation(ways, frequencies, 343.0), original.model.radiation(ways, frequencies, 343.0)
        )
    assert left.notes == results.built.loudspeakers[0].model.notes
    assert [driver.gain_db for driver in right.drivers] == [0.0, 1.0]
    assert {arrival.main.driver for arrival in results.responses.arrivals if arrival.loudspeaker == "left"} == {
        "whole cabinet"
    }


def test_what_measured_data_add_to_the_file_is_documented(tmp_path: Path) -> None:
    write_results(trace_scene(read_scene(scene(tmp_path)), order=1), tmp_path / "results.h5")
    (row,) = re.findall(
        r"^\| `built_scene/loudspeakers/NNNN/model/data` \| (.+) \|$", DOCUMENT.read_text("utf-8"), flags=re.M
    )
    with h5py.File(tmp_path / "results.h5") as file:
        assert set(file["built_scene/loudspeakers/0000/model/data/0000"]) == set(re.findall(r"`(\w+)`", row))
        assert len(file["built_scene/loudspeakers/0001/model/data"]) == 0
