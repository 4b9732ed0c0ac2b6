"""How a record shows itself: short in a session, as a small table in a notebook, and as a table for further work.

A record of results holds many thousand numbers.  Printed, it says in one line what matters; `table` and `xarray` hand
its numbers to the libraries that people calculate with, where these are installed.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from importlib import import_module
from typing import TYPE_CHECKING, Any, ClassVar, Final, TypeVar

import numpy as np

from sim.errors import OutputError

if TYPE_CHECKING:
    import pandas
    import xarray

LONGEST: Final = 280
"""Most characters of what a record prints of itself (our choice)."""
MOST_ROWS: Final = 12
"""Rows that a notebook shows; the table holds all (our choice)."""
_LONGEST_VALUE: Final = 60

T = TypeVar("T")
Labelled = tuple[tuple[str, ...], Any, str]
"""Names of the axes, the values, and their unit."""


def printable(record: type[T]) -> type[T]:
    """Let a record print itself in one short line."""
    record.__repr__ = short_repr  # type: ignore[method-assign]
    return record


def short_repr(record: object) -> str:
    """Name of the record and its fields, as many as go into one line."""
    names = (each.name for each in dataclasses.fields(record) if each.repr)  # type: ignore[arg-type]
    return one_line(type(record).__name__, ((name, getattr(record, name)) for name in names))


def one_line(name: str, fields: Iterator[tuple[str, object]]) -> str:
    """Write "Name(field=value, ...)" with what does not fit left out."""
    text = f"{name}("
    for number, (field, value) in enumerate(fields):
        part = f"{', ' if number else ''}{field}={brief(value)}"
        if len(text) + len(part) > LONGEST - 6:
            return f"{text}, ...)" if number else f"{text}...)"
        text += part
    return f"{text})"


def brief(value: object) -> str:
    """One value in few words: numbers with four digits, arrays by their shape, many records by their number."""
    if isinstance(value, np.ndarray):
        return f"<{value.dtype} {value.shape}>"
    if isinstance(value, bool | np.bool_):
        return str(bool(value))
    if isinstance(value, float | np.floating):
        return f"{float(value):.4g}"
    if isinstance(value, str):
        return repr(value if len(value) <= _LONGEST_VALUE else f"{value[: _LONGEST_VALUE - 3]}...")
    if isinstance(value, Mapping):
        return f"<{len(value)} entries>" if value else "{}"
    if isinstance(value, tuple | list):
        plain = all(isinstance(each, str | int | float | type(None)) for each in value)
        text = f"({', '.join(brief(each) for each in value[:8])})" if plain and len(value) <= 8 else ""
        return text if text and len(text) <= _LONGEST_VALUE else f"<{len(value)} {_kind(value)}>"
    if dataclasses.is_dataclass(value) or hasattr(value, "model_fields_set"):
        return f"<{type(value).__name__}>"
    text = str(value)
    return text if len(text) <= _LONGEST_VALUE else f"{text[: _LONGEST_VALUE - 3]}..."


def _kind(values: Sequence[object]) -> str:
    kinds = {type(value).__name__ for value in values}
    return kinds.pop() if len(kinds) == 1 else "values"


class Saveable:
    """Whatever `sim.save` can write; the folder of its question says how."""

    __slots__ = ()
    question: ClassVar[str] = ""


class Answer(Saveable):
    """What a question of `sim` returns: one line in a session, a table in a notebook.

    `sim.words(answer)` gives the text that the command prints, `sim.save(answer, folder)` writes its files.
    """

    __slots__ = ()

    def headline(self) -> str:
        """The answer in one sentence."""
        raise NotImplementedError

    def rows(self) -> list[dict[str, Any]]:
        """The answer as rows of a table: a dictionary each, all with the same keys, units in the keys."""
        raise NotImplementedError

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        """Values along the axes of the arrays, each with its unit."""
        return {}

    def _arrays(self) -> Mapping[str, Labelled]:
        """Arrays worth having with the names of their axes; none unless the record says so."""
        return {}

    def __repr__(self) -> str:
        text = f"<{type(self).__name__}: {self.headline()}>"
        return text if len(text) <= LONGEST else f"{text[: LONGEST - 4]}...>"

    def _repr_html_(self) -> str:
        rows = self.rows()
        names = list(rows[0]) if rows else []
        head = "".join(f"<th>{escape(name)}</th>" for name in names)
        body = "".join(
            f"<tr>{''.join(f'<td>{escape(_cell(row[name]))}</td>' for name in names)}</tr>" for row in rows[:MOST_ROWS]
        )
        more = f"<p>{len(rows) - MOST_ROWS} more rows: .table()</p>" if len(rows) > MOST_ROWS else ""
        table = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>" if rows else ""
        return f"<div><p><strong>{escape(self.headline())}</strong></p>{table}{more}</div>"

    def table(self) -> pandas.DataFrame:
        """Return `rows` as a pandas DataFrame.

        Raises
        ------
        OutputError
            If pandas is not installed.
        """
        return _library("pandas", "table").DataFrame(self.rows())

    def xarray(self) -> xarray.Dataset:
        """Return the arrays as an xarray Dataset: axes by name, the unit of each array in its attributes.

        Raises
        ------
        OutputError
            If xarray is not installed, or this answer has no arrays.
        """
        library = _library("xarray", "xarray")
        arrays = self._arrays()
        if not arrays:
            raise OutputError(f"{type(self).__name__} has no arrays with axes; take .table() instead.")
        coordinates = {
            name: ((name,), np.asarray(values), {"units": unit} if unit else {})
            for name, (values, unit) in self._axes().items()
        }
        data = {name: (axes, np.array(values), {"units": unit}) for name, (axes, values, unit) in arrays.items()}
        return library.Dataset(data, coords=coordinates, attrs={"answer": self.headline()})


def _library(name: str, method: str) -> Any:
    """A library that may not be there; raises OutputError with what to install."""
    try:
        return import_module(name)
    except ImportError:
        raise OutputError(
            f".{method}() needs {name}, which is not installed; install it with: pip install {name}."
        ) from None


def _cell(value: Any) -> str:
    if isinstance(value, float | np.floating):
        return "" if np.isnan(value) else f"{float(value):.4g}"
    return str(value)
