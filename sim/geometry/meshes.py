"""Meshes."""

from __future__ import annotations

from pathlib import Path

from ..blueprint.furniture import MeshFurniture
from ..blueprint.schema import Blueprint
from .patches import Patch


def mesh_room(blueprint: Blueprint, folder: Path) -> tuple[tuple[Patch, ...], tuple[str, ...]]:
    """Not written yet."""
    raise NotImplementedError


def mesh_furniture_patches(item: MeshFurniture, folder: Path) -> tuple[Patch, ...]:
    """Not written yet."""
    raise NotImplementedError
