"""Records in a file of results: one entry a field, which binds a name in the file to an attribute of the record."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import h5py

from sim.blueprint.schema import Blueprint
from sim.blueprint.writing import to_toml
from sim.showing.archive.stored_kinds import Axis, Kind, text_of


@dataclass(frozen=True, slots=True)
class Column:
    """One entry: its name in the file, what it holds, its unit, and the record's attribute if that is called otherwise.

    `lacking` is for files of older layouts that may not hold it: it makes the value from what was read of the same
    record before.
    """

    name: str
    kind: Kind
    unit: str = ""
    attr: str = ""
    lacking: Callable[[dict[str, Any]], Any] | None = None

    @property
    def attribute(self) -> str:
        """Name of the record's attribute."""
        return self.attr or self.name


@dataclass(frozen=True, slots=True)
class Record(Kind):
    """A record as a group; many of them as a group of columns."""

    make: Callable[..., Any]
    columns: tuple[Column, ...]

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        self.write_in(group.create_group(name), value)

    def write_in(self, group: h5py.Group, value: Any) -> None:
        """Write a record into a group that is there, such as the file."""
        for column in self.columns:
            column.kind.write(group, column.name, getattr(value, column.attribute))

    def read(self, stored: Any) -> Any:
        values: dict[str, Any] = {}
        for column in self.columns:
            if column.lacking is not None and column.name not in stored:
                values[column.attribute] = column.lacking(values)
            else:
                values[column.attribute] = column.kind.read(stored[column.name])
        return self.make(**values)

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        rows = group.create_group(name)
        rows.attrs["rows"] = len(values)
        for column in self.columns:
            column.kind.write_rows(rows, column.name, [getattr(value, column.attribute) for value in values])

    def read_rows(self, stored: Any) -> list[Any]:
        rows: list[dict[str, Any]] = [{} for _ in range(int(stored.attrs["rows"]))]
        for column in self.columns:
            if column.lacking is not None and column.name not in stored:
                found = [column.lacking(row) for row in rows]
            else:
                found = column.kind.read_rows(stored[column.name])
            for row, value in zip(rows, found, strict=True):
                row[column.attribute] = value
        return [self.make(**row) for row in rows]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        for column in self.columns:
            column.kind.describe(stored[column.name], column.unit, before)


def record(make: Callable[..., Any], *columns: Column) -> Record:
    """A record made by `make` from the attributes that its columns name."""
    return Record(make, columns)


@dataclass(frozen=True, slots=True)
class Numbered(Kind):
    """A tuple of records that differ too much for columns: a group each, numbered from 0000."""

    of: Record

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        child = group.create_group(name)
        for number, item in enumerate(value):
            self.of.write(child, f"{number:04d}", item)

    def read(self, stored: Any) -> Any:
        return tuple(self.of.read(stored[number]) for number in sorted(stored, key=int))

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        raise NotImplementedError("numbered groups have no rows")

    def read_rows(self, stored: Any) -> list[Any]:
        raise NotImplementedError

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        for number in stored:
            self.of.describe(stored[number], unit, before)


@dataclass(frozen=True, slots=True)
class SceneText(Kind):
    """A scene as the text of a scene file in metres; the unit that people read is an attribute."""

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        text = group.create_dataset(name, data=to_toml(value), dtype=h5py.string_dtype())
        text.attrs["unit_of_scene_file"] = value.units

    def read(self, stored: Any) -> Any:
        # Geometry is not judged again: it was when the results were made.
        scene = Blueprint.model_validate(tomllib.loads(text_of(stored[()])), context={"unit": "m"})
        return scene.model_copy(update={"units": text_of(stored.attrs["unit_of_scene_file"])})

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        raise NotImplementedError("a file of results holds one scene")

    def read_rows(self, stored: Any) -> list[Any]:
        raise NotImplementedError

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        """Texts have neither unit nor axes."""
