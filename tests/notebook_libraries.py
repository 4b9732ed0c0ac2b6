"""Stand-ins for pandas and xarray where these are not installed: they are never needed, only handed numbers."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import pytest


class Frame:
    """Stands in for a DataFrame where pandas is not installed."""

    def __init__(self, rows: list[Mapping[str, Any]]) -> None:
        self.columns = list(rows[0]) if rows else []
        self.shape = (len(rows), len(self.columns))


class Dataset:
    """Stands in for a Dataset where xarray is not installed: axes of one name have one length, as there."""

    def __init__(self, data: Mapping[str, Any], coords: Mapping[str, Any], attrs: Mapping[str, str]) -> None:
        self.data_vars, self.attrs = data, attrs
        self.sizes: dict[str, int] = {}
        for axes, values, _ in (*data.values(), *coords.values()):
            assert len(axes) == values.ndim
            for axis, length in zip(axes, values.shape, strict=True):
                assert self.sizes.setdefault(axis, length) == length, axis


def stand_in_for_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have both libraries: the real ones where they are installed."""
    for name, stand_in in (("pandas", SimpleNamespace(DataFrame=Frame)), ("xarray", SimpleNamespace(Dataset=Dataset))):
        if importlib.util.find_spec(name) is None:
            monkeypatch.setitem(sys.modules, name, stand_in)
