"""Checks that need no geometry: what cannot be is refused, what is unusual is said."""

from __future__ import annotations

from pathlib import Path

from .locations import Locations
from .schema import Blueprint


def refuse_what_cannot_be(blueprint: Blueprint, folder: Path, locations: Locations) -> None:
    pass


def what_looks_odd(blueprint: Blueprint) -> tuple[str, ...]:
    return ()


def mesh_paths(blueprint: Blueprint, folder: Path) -> list[Path]:
    return []
