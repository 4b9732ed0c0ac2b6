"""Kinds of values in a file of results, and how each lies in HDF5: what is written is read back equal.

A layout is made of these, in the file's own terms.  A record becomes a group; numbers, texts and arrays become
datasets.  Many records of one kind become columns: one dataset a field, one row a record.  What has a different length
in every row becomes a group of `items`, all rows one after the other, and `start`: row k owns items start[k] to
start[k + 1] - 1.
"""

from __future__ import annotations

import itertools
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import h5py
import numpy as np

from sim.arrays import frozen

COMPRESSED_FROM_BYTES: Final = 65536


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of an array: its label, the dataset that says what its places mean, and its size where that is fixed."""

    label: str
    scale: str = ""
    size: int = 0


class Kind(ABC):
    """What a dataset or group holds: one value, or one a row."""

    @abstractmethod
    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        """Write one value as `name`."""

    @abstractmethod
    def read(self, stored: Any) -> Any:
        """Read what `write` wrote; KeyError, TypeError or ValueError when it is something else."""

    @abstractmethod
    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        """Write many values, a row each."""

    @abstractmethod
    def read_rows(self, stored: Any) -> list[Any]:
        """Read what `write_rows` wrote."""

    @abstractmethod
    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        """Give what is stored its unit, and its axes (after those `before` them) labels and scales."""


@dataclass(frozen=True, slots=True)
class Number(Kind):
    """A number: how it is stored, and the Python type it comes back as."""

    stored: str
    python: Callable[[Any], Any]

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        put(group, name, np.array(value, dtype=self.stored))

    def read(self, stored: Any) -> Any:
        return self.python(stored[()])

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        put(group, name, np.array(values, dtype=self.stored))

    def read_rows(self, stored: Any) -> list[Any]:
        return [self.python(value) for value in stored[()]]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        mark(stored, unit, before)


@dataclass(frozen=True, slots=True)
class Text(Kind):
    """A text, or what is made from one; with `words`, one of these: word in the file -> word in the record."""

    python: Callable[[str], Any] = str
    words: Mapping[str, str] = field(default_factory=dict)

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        group.create_dataset(name, data=self._word(value), dtype=h5py.string_dtype())

    def read(self, stored: Any) -> Any:
        return self._value(stored[()])

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        texts = [self._word(value) for value in values]
        group.create_dataset(name, data=texts, shape=(len(texts),), dtype=h5py.string_dtype())

    def read_rows(self, stored: Any) -> list[Any]:
        return [self._value(value) for value in stored[()]]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        mark(stored, unit, before)

    def _word(self, value: Any) -> str:
        return {own: word for word, own in self.words.items()}[value] if self.words else str(value)

    def _value(self, stored: Any) -> Any:
        text = text_of(stored)
        return self.words[text] if self.words else self.python(text)


@dataclass(frozen=True, slots=True)
class Array(Kind):
    """An array of numbers; with `uneven`, its first axis differs in length from row to row."""

    of: Number
    axes: tuple[Axis, ...]
    uneven: bool = False

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        put(group, name, np.asarray(value, dtype=self.of.stored))

    def read(self, stored: Any) -> Any:
        return frozen(stored[()])

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        none = np.zeros((0, *(axis.size for axis in self.axes[int(self.uneven) :])), dtype=self.of.stored)
        if self.uneven:
            rows = _with_starts(group, name, values)
            put(rows, "items", np.concatenate(values, dtype=self.of.stored) if values else none)
        else:
            put(group, name, np.stack(values, dtype=self.of.stored) if values else none)

    def read_rows(self, stored: Any) -> list[Any]:
        if not self.uneven:
            return [frozen(row) for row in stored[()]]
        items = stored["items"][()]
        return [frozen(items[low:high]) for low, high in _pieces(stored)]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        if self.uneven and before:
            mark(stored["items"], unit, self.axes)
        else:
            mark(stored, unit, (*before, *self.axes))


@dataclass(frozen=True, slots=True)
class Fixed(Kind):
    """A tuple of always the same number of numbers."""

    of: Number
    axis: Axis

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        self.of.write_rows(group, name, value)

    def read(self, stored: Any) -> Any:
        return tuple(self.of.read_rows(stored))

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        put(group, name, np.array(values, dtype=self.of.stored).reshape(len(values), self.axis.size))

    def read_rows(self, stored: Any) -> list[Any]:
        return [tuple(self.of.python(value) for value in row) for row in stored[()]]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        mark(stored, unit, (*before, self.axis))


@dataclass(frozen=True, slots=True)
class Several(Kind):
    """A tuple of any length, a row each; `row` says what a row is."""

    of: Kind
    row: Axis

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        self.of.write_rows(group, name, value)

    def read(self, stored: Any) -> Any:
        return tuple(self.of.read_rows(stored))

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        rows = _with_starts(group, name, values)
        self.of.write_rows(rows, "items", list(itertools.chain.from_iterable(values)))

    def read_rows(self, stored: Any) -> list[Any]:
        items = self.of.read_rows(stored["items"])
        return [tuple(items[low:high]) for low, high in _pieces(stored)]

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        self.of.describe(stored["items"] if before else stored, unit, (self.row,))


@dataclass(frozen=True, slots=True)
class Maybe(Kind):
    """A value that may be missing: then the dataset holds nothing."""

    of: Kind

    def write(self, group: h5py.Group, name: str, value: Any) -> None:
        if value is None:
            group.create_dataset(name, dtype="f8")  # neither shape nor data
        else:
            self.of.write(group, name, value)

    def read(self, stored: Any) -> Any:
        return None if stored.shape is None else self.of.read(stored)

    def write_rows(self, group: h5py.Group, name: str, values: Sequence[Any]) -> None:
        raise NotImplementedError("what may be missing has no column; give its record a group of its own")

    def read_rows(self, stored: Any) -> list[Any]:
        raise NotImplementedError

    def describe(self, stored: Any, unit: str, before: tuple[Axis, ...]) -> None:
        if stored.shape is not None:
            self.of.describe(stored, unit, before)


def put(group: h5py.Group, name: str, data: Any) -> None:
    """Write numbers as one dataset; large ones compressed, with a checksum on every chunk for other readers."""
    if data.nbytes >= COMPRESSED_FROM_BYTES:
        group.create_dataset(name, data=data, compression="gzip", compression_opts=1, shuffle=True, fletcher32=True)
    else:
        group.create_dataset(name, data=data)


def mark(dataset: Any, unit: str, axes: tuple[Axis, ...]) -> None:
    """Attach a unit, and the labels and scales of all axes."""
    if unit:
        dataset.attrs["units"] = unit
    if dataset.ndim != len(axes):
        raise ValueError(f"{dataset.name} has {dataset.ndim} axes, and the layout names {len(axes)}")
    for dimension, axis in zip(dataset.dims, axes, strict=True):
        dimension.label = axis.label
        if axis.scale:
            dimension.attach_scale(dataset.file[axis.scale])


def text_of(stored: Any) -> str:
    """A text as HDF5 gives it, as a text."""
    return stored.decode("utf-8") if isinstance(stored, bytes) else str(stored)


def _with_starts(group: h5py.Group, name: str, rows: Sequence[Any]) -> h5py.Group:
    child = group.create_group(name)
    child.create_dataset("start", data=np.cumsum([0, *(len(row) for row in rows)], dtype=np.int64))
    return child


def _pieces(stored: Any) -> list[tuple[int, int]]:
    return list(itertools.pairwise(stored["start"][()].tolist()))
