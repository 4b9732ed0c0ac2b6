"""The layout of results.h5 says its own names: nothing in Python can change them without a test that fails here."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

import h5py
import pytest

from sim.responses.records import Results
from sim.showing.archive.results import write_results
from sim.showing.archive.results_layout import ARRIVALS, KIND_OF_ARRIVAL, LAYOUT, RESULTS, STATUS, WHAT_IS_LEFT_OUT
from sim.showing.archive.scene_layout import DIRECTIVITY
from sim.showing.archive.stored_kinds import Kind, Maybe, Several
from sim.showing.archive.stored_records import Column, Numbered, Record

HOME = Path(__file__).resolve().parents[3]
GOLDEN = Path(__file__).parent / "layout_5.txt"


def records(kind: Kind) -> Iterator[Record]:
    if isinstance(kind, Record):
        yield kind
        for column in kind.columns:
            yield from records(column.kind)
    elif isinstance(kind, Several | Maybe | Numbered):
        yield from records(kind.of)


ALL = {record.make: record for record in records(RESULTS)}


@pytest.mark.parametrize("record", ALL.values(), ids=lambda record: record.make.__name__)
def test_every_field_of_a_record_has_one_entry_and_every_entry_a_field(record: Record) -> None:
    entries = [column.attribute for column in record.columns]
    assert sorted(entries) == sorted(field.name for field in fields(record.make) if field.init)
    names = [column.name for column in record.columns]
    assert len(set(names)) == len(names)


UNITS = {"db": "dB", "hz": "Hz", "ms": "ms", "m": "m", "m2": "m2", "m3": "m3", "deg": "deg", "rad": "rad"}
UNITS |= {"kg": "kg", "kpa": "kPa", "percent": "%", "octave": "dB/octave"}


@pytest.mark.parametrize("record", ALL.values(), ids=lambda record: record.make.__name__)
def test_a_name_that_ends_in_a_unit_has_that_unit(record: Record) -> None:
    for column in record.columns:
        _, _, end = column.name.rpartition("_")
        if "_" in column.name and end in UNITS and "/m" not in column.unit:
            assert column.unit == UNITS[end], column.name


def test_all_records_are_looked_at() -> None:
    assert len(ALL) == 30
    assert DIRECTIVITY.make in ALL


def entries(path: Path) -> list[str]:
    """What a program that opens the file sees: path, type, unit and axes of everything."""
    found: dict[str, None] = {}

    def look(name: str, item: h5py.Group | h5py.Dataset) -> None:
        line = re.sub(r"/\d{4}(?=/|$)", "/NNNN", name)
        if isinstance(item, h5py.Dataset):
            text = h5py.check_string_dtype(item.dtype) is not None
            line += f" | {'text' if text else item.dtype} | {item.attrs.get('units', '-')}"
            line += f" | {', '.join(dimension.label or '-' for dimension in item.dims)}"
        found[line.strip()] = None

    with h5py.File(path) as file:
        file.visititems(look)
    return list(found)


def test_layout_5_is_what_it_was(traced_attic: Results, tmp_path: Path) -> None:
    """Never edit the list to make this pass: raise LAYOUT, and say in old_layouts how the old one is read."""
    write_results(traced_attic, tmp_path / "results.h5")
    assert LAYOUT == 5
    assert entries(tmp_path / "results.h5") == GOLDEN.read_text(encoding="utf-8").splitlines()


def test_what_the_list_cannot_show_is_what_it_was() -> None:
    measured = "layout directions horizontal frequencies_hz values has_phase source notes"
    assert [column.name for column in DIRECTIVITY.columns] == measured.split()
    assert set(KIND_OF_ARRIVAL.words) == {"direct", "specular", "diffracted"}
    assert set(STATUS.words) == {"reaches", "misses", "blocked", "own"}
    assert set(WHAT_IS_LEFT_OUT.words) == {"everything", "surface", "piece", "panel"}


def test_a_field_renamed_in_python_leaves_the_file_as_it_is(tmp_path: Path) -> None:
    class Renamed:
        def __init__(self, **values: object) -> None:
            self.__dict__.update(values)

    number = next(column for column in ARRIVALS.columns if column.name == "worst_db")
    before = Record(Renamed, (number,))
    after = Record(Renamed, (replace(number, attr="strongest_db"),))
    with h5py.File(tmp_path / "file.h5", "w") as file:
        before.write_rows(file, "before", [Renamed(worst_db=-3.0)])
        after.write_rows(file, "after", [Renamed(strongest_db=-3.0)])
        assert list(file["before"]) == list(file["after"]) == ["worst_db"]
        assert after.read_rows(file["before"])[0].strongest_db == -3.0


def test_an_entry_without_a_field_is_noticed() -> None:
    """The test of fields above can fail."""
    record = ALL[ARRIVALS.make]
    more = Record(record.make, (*record.columns, Column("new", record.columns[0].kind)))
    with pytest.raises(AssertionError):
        test_every_field_of_a_record_has_one_entry_and_every_entry_a_field(more)
    with pytest.raises(AssertionError):
        test_every_field_of_a_record_has_one_entry_and_every_entry_a_field(Record(record.make, record.columns[1:]))


ARCHIVE = sorted((HOME / "sim" / "showing" / "archive").glob("*.py"))


@pytest.mark.parametrize("module", ARCHIVE, ids=lambda path: path.name)
def test_the_archive_asks_no_type_hint(module: Path) -> None:
    asked = re.findall(r"get_type_hints|get_origin|get_args|__annotations__|NDArray", module.read_text("utf-8"))
    assert asked == []


def test_nothing_in_the_package_asks_for_the_hints_of_a_record() -> None:
    for module in (HOME / "sim").rglob("*.py"):
        assert "get_type_hints" not in module.read_text(encoding="utf-8"), module


ALIAS = """
import sys
from typing import Any, TypeVar
import numpy as np
import numpy.typing
from typing_extensions import TypeAliasType
Kind = TypeVar("Kind", bound=np.generic)
numpy.typing.NDArray = TypeAliasType("NDArray", np.ndarray[tuple[Any, ...], np.dtype[Kind]], type_params=(Kind,))
from pathlib import Path
import sim
from sim.arrays import FloatArray
assert FloatArray.__origin__ is numpy.typing.NDArray, FloatArray
from sim.showing.archive.results import write_results
write_results(sim.read_results(sys.argv[1]), Path(sys.argv[2]))
assert len(sim.read_results(sys.argv[2]).paths) > 0
"""
"""Since numpy 2.5, NDArray is a type alias on Python 3.12 and newer: this makes it one on any."""


def test_array_hints_that_are_type_aliases_make_no_difference(traced_attic: Results, tmp_path: Path) -> None:
    write_results(traced_attic, tmp_path / "one.h5")
    command = [sys.executable, "-c", ALIAS, str(tmp_path / "one.h5"), str(tmp_path / "two.h5")]
    done = subprocess.run(command, cwd=HOME, capture_output=True, text=True, check=False)
    assert done.stderr == ""
    assert done.returncode == 0
    assert entries(tmp_path / "one.h5") == entries(tmp_path / "two.h5")
