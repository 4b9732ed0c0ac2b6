from __future__ import annotations

import hashlib
import re
from pathlib import Path

import h5py
import numpy as np
import pytest

from sim.errors import OutputError
from sim.showing.archive.sealed_hdf5 import seal_of
from sim.studies.decay.room_metrics import FIGURES
from sim.studies.decay.tables import LAYOUT, write_decay_file
from tests.studies.decay.decay_studies import traced

DOCUMENT = Path(__file__).parents[3] / "docs" / "reference" / "decay-file.md"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("decay") / "decay.h5"
    write_decay_file(traced(), file)
    return file


def test_what_is_in_the_file_is_what_was_found(path: Path) -> None:
    study = traced()
    with h5py.File(path) as file:
        names = list(file["figures"].asstr()[()])
        assert tuple(names) == FIGURES
        t20, error = study.figure("t20_s")
        assert np.array_equal(file["values"][..., names.index("t20_s")], t20, equal_nan=True)
        assert np.array_equal(file["standard_errors"][..., names.index("t20_s")], error, equal_nan=True)
        assert np.array_equal(file["level_db"][()], study.level_db)
        assert file["level_db"].dims[3][0][40] == pytest.approx(0.040)
        assert file["level_db"].dims[0][0].asstr()[()].tolist() == ["left", "right"]
        assert file["room/answer"].asstr()[()].tolist() == [verdict.answer for verdict in study.verdicts]
        assert file["initial_gap_ms"][1, 0] == study.gaps[1].gap_ms
        assert file["time_s"].attrs["units"] == "s"
        assert file.attrs["rays"] == study.rays
        assert file.attrs["cautions"].splitlines() == list(study.cautions)
    assert [each.name for each in path.parent.iterdir()] == ["decay.h5"]


def test_the_document_lists_every_dataset_and_attribute(path: Path) -> None:
    text = DOCUMENT.read_text(encoding="utf-8")
    found: list[str] = []
    with h5py.File(path) as file:
        file.visit(found.append)
        attributes = set(file.attrs)
    assert set(re.findall(r"^\| `([^`]+)` \|", text.partition("## Datasets")[2], flags=re.M)) == set(found)
    table = text.partition("## Attributes")[2].partition("## Datasets")[0]
    assert set(re.findall(r"`(\w+)`", table)) == attributes
    assert f"layout {LAYOUT}" in text
    assert all(f"`{figure}`" in text for figure in FIGURES)


def test_the_file_is_sealed(path: Path) -> None:
    data = path.read_bytes()
    seal = seal_of(data)
    assert seal is not None
    assert (seal.kind, seal.layout) == ("decay", LAYOUT)
    assert hashlib.sha256(data[512:]).hexdigest() == seal.digest


def test_the_same_study_gives_the_same_bytes(path: Path, tmp_path: Path) -> None:
    write_decay_file(traced(), tmp_path / "again.h5")
    assert (tmp_path / "again.h5").read_bytes() == path.read_bytes()


def test_a_broken_write_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = tmp_path / "decay.h5"
    old.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OutputError, match="No space left"):
        write_decay_file(traced(), old)
    assert old.read_bytes() == b"old"
    assert [each.name for each in tmp_path.iterdir()] == ["decay.h5"]
