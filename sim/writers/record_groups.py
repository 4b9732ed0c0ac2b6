"""Records as HDF5 groups, driven by their type hints: what is written is read back equal.

A record becomes a group, an array, number or text a dataset.  Many records of one kind become columns: one dataset a
field, one row a record.  What has a different length in every row becomes a group of `items`, all rows one after
the other, and `start`: row k owns items start[k] to start[k + 1] - 1.
"""

from __future__ import annotations

import itertools
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

import h5py
import numpy as np

from ..arrays import frozen
from ..blueprint.schema import Blueprint
from ..blueprint.writing import to_toml
from ..loudspeakers.directivity_data import DirectivityData
from ..placement.poses import PlacedLoudspeaker
from ..responses.records import SurfaceMap

ONE_GROUP_EACH: tuple[type, ...] = (DirectivityData, PlacedLoudspeaker, SurfaceMap)
"""Records that differ too much for columns; each gets a numbered group."""
DIFFERENT_LENGTHS = frozenset({"border", "points"})
"""Arrays whose first axis differs from row to row; named so that the layout does not depend on the scene."""
COMPRESSED_FROM_BYTES = 65536


def write_value(group: h5py.Group, name: str, hint: Any, value: Any) -> None:
    """Write one value of the type `hint` as dataset or group `name`."""
    inner = _without_none(hint)
    if value is None:
        group.create_dataset(name, dtype="f8")  # neither shape nor data: a dataset that holds nothing
    elif isinstance(value, Blueprint):
        text = group.create_dataset(name, data=to_toml(value))
        text.attrs["unit_of_scene_file"] = value.units  # the text is in metres; people read their own unit
    elif is_dataclass(value):
        child = group.create_group(name)
        for field, field_hint in _fields(type(value)):
            write_value(child, field, field_hint, getattr(value, field))
    elif get_origin(inner) is tuple:
        _write_tuple(group, name, inner, value)
    else:
        _dataset(group, name, np.asarray(value) if _is_array(inner) else _plain(inner, value))


def read_value(group: h5py.Group, name: str, hint: Any) -> Any:
    """Read what `write_value` wrote; KeyError when it is not there."""
    inner = _without_none(hint)
    stored = group[name]
    if getattr(stored, "shape", ()) is None:
        return None
    if inner is Blueprint:
        # Geometry is not judged again: it was when the results were made.
        scene = Blueprint.model_validate(tomllib.loads(_text(stored[()])), context={"unit": "m"})
        return scene.model_copy(update={"units": _text(stored.attrs["unit_of_scene_file"])})
    if _is_record(inner):
        return inner(**{field: read_value(stored, field, field_hint) for field, field_hint in _fields(inner)})
    if get_origin(inner) is tuple:
        return _read_tuple(stored, inner)
    return frozen(stored[()]) if _is_array(inner) else _python(inner)(stored[()])


def _write_tuple(group: h5py.Group, name: str, hint: Any, value: tuple[Any, ...]) -> None:
    element, fixed = _element(hint)
    if element in ONE_GROUP_EACH:
        child = group.create_group(name)
        for number, item in enumerate(value):
            write_value(child, f"{number:04d}", element, item)
    elif fixed:
        _dataset(group, name, np.array(value))
    else:
        _write_column(group, name, element, value)


def _read_tuple(stored: Any, hint: Any) -> tuple[Any, ...]:
    element, fixed = _element(hint)
    if element in ONE_GROUP_EACH:
        return tuple(read_value(stored, number, element) for number in sorted(stored))
    if fixed:
        return tuple(_python(element)(item) for item in stored[()])
    return tuple(_read_column(stored, element))


def _write_column(group: h5py.Group, name: str, hint: Any, values: Sequence[Any]) -> None:
    """Write many values of one type, a row each."""
    if _is_record(hint):
        child = group.create_group(name)
        child.attrs["rows"] = len(values)
        for field, field_hint in _fields(hint):
            _write_column(child, field, field_hint, [getattr(value, field) for value in values])
    elif get_origin(hint) is tuple:
        element, fixed = _element(hint)
        if fixed:
            _dataset(group, name, np.array(values, dtype=None if values else np.float64))
        else:
            child = _with_starts(group, name, values)
            _write_column(child, "items", element, list(itertools.chain.from_iterable(values)))
    elif _is_array(hint):
        if name in DIFFERENT_LENGTHS or len({value.shape for value in values}) > 1:
            child = _with_starts(group, name, values)
            _dataset(child, "items", np.concatenate(values) if values else np.zeros(0))
        else:
            _dataset(group, name, np.stack(values) if values else np.zeros(0))
    elif hint is str or get_origin(hint) is Literal:
        group.create_dataset(name, data=list(values), shape=(len(values),), dtype=h5py.string_dtype())
    else:
        _dataset(group, name, np.array(values, dtype=np.dtype(hint)))


def _read_column(stored: Any, hint: Any) -> list[Any]:
    if _is_record(hint):
        columns = [_read_column(stored[field], field_hint) for field, field_hint in _fields(hint)]
        return [hint(*row) for row in zip(*columns, strict=True)]
    if get_origin(hint) is tuple:
        element, fixed = _element(hint)
        if fixed:
            return [tuple(_python(element)(item) for item in row) for row in stored[()]]
        items = _read_column(stored["items"], element)
        return [tuple(items[low:high]) for low, high in itertools.pairwise(stored["start"][()].tolist())]
    if not _is_array(hint):
        return [_python(hint)(item) for item in stored[()]]
    if isinstance(stored, h5py.Dataset):
        return [frozen(row) for row in stored[()]]
    items = stored["items"][()]
    return [frozen(items[low:high]) for low, high in itertools.pairwise(stored["start"][()].tolist())]


def _with_starts(group: h5py.Group, name: str, rows: Sequence[Any]) -> h5py.Group:
    child = group.create_group(name)
    child.create_dataset("start", data=np.cumsum([0, *(len(row) for row in rows)], dtype=np.int64))
    return child


def _dataset(group: h5py.Group, name: str, data: Any) -> None:
    if isinstance(data, np.ndarray) and data.nbytes >= COMPRESSED_FROM_BYTES:
        group.create_dataset(name, data=data, compression="gzip", compression_opts=1, shuffle=True)
    else:
        group.create_dataset(name, data=data)


def _fields(record: type) -> list[tuple[str, Any]]:
    """Fields that a record is made from; what it derives itself is not stored."""
    hints = get_type_hints(record)
    return [(field.name, hints[field.name]) for field in fields(record) if field.init]


def _without_none(hint: Any) -> Any:
    if get_origin(hint) in (Union, UnionType):
        (hint,) = (kind for kind in get_args(hint) if kind is not NoneType)
    return hint


def _element(hint: Any) -> tuple[Any, bool]:
    """Type of a tuple's items, and whether their number is fixed."""
    kinds = get_args(hint)
    return kinds[0], kinds[-1] is not Ellipsis


def _is_record(hint: Any) -> bool:
    return is_dataclass(hint)


def _is_array(hint: Any) -> bool:
    return get_origin(hint) is np.ndarray


def _plain(hint: Any, value: Any) -> Any:
    return str(value) if hint is Path else value


def _python(hint: Any) -> Callable[[Any], Any]:
    """What turns a stored number or text into the type of the record."""
    if hint is str or get_origin(hint) is Literal:
        return _text
    if hint is Path:
        return lambda stored: Path(_text(stored))
    kinds: dict[Any, Callable[[Any], Any]] = {bool: bool, int: int, float: float}
    return kinds[hint]


def _text(stored: Any) -> str:
    return stored.decode("utf-8") if isinstance(stored, bytes) else str(stored)
