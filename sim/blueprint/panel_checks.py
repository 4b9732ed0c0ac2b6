"""Checks of what is told in layers: panels need layers, and the wall behind layers must not have any."""

from __future__ import annotations

from ..acoustics.buildups import build_ups
from ..acoustics.materials import library
from ..errors import SceneError
from .complaints import closest
from .locations import Key, Locations
from .panels import Panel
from .schema import Blueprint


def refuse_without_layers(panel: Panel, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the material of the panel at `key` is unknown, or known by absorption coefficients only."""
    name, own = panel.material, blueprint.materials.get(panel.material)
    plain = " ".join(name.lower().split())
    if own.absorption is None if own is not None else plain in build_ups():
        return
    layered = [each for each, record in blueprint.materials.items() if record.absorption is None]
    raise SceneError(
        locations.where(*key, "material"),
        f'"{name}" is told by absorption coefficients, and a panel needs layers'
        if own is not None or plain in library()
        else f'no layered material is called "{name}"',
        closest(name, (*layered, *build_ups()), what="the layered materials")
        + ', or describe your own under [materials] with build_up = "100 mm wool, 100 mm gap"',
    )


def refuse_layers_behind(blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the wall behind a material's layers is itself told in layers."""
    for name, record in blueprint.materials.items():
        behind = blueprint.materials.get(record.behind or "")
        if behind is not None and behind.absorption is None:
            raise SceneError(
                locations.where("materials", name, "behind"),
                f'"{record.behind}" is told in layers itself',
                "name a wall that is told by absorption coefficients, and put all layers into one material",
            )
