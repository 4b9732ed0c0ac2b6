"""Checks of what is told in layers: panels need layers, and the wall behind layers must not have any."""

from __future__ import annotations

from sim.acoustics.buildups import build_ups
from sim.acoustics.materials import library
from sim.blueprint.build_ups import layers_in_words
from sim.blueprint.error_messages import closest
from sim.blueprint.schema import Blueprint
from sim.blueprint.toml_text import Key, Locations
from sim.blueprint.treatment import Panel
from sim.errors import SceneError


def refuse_without_layers(panel: Panel, key: Key, blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the material of the panel at `key` is unknown, or known by absorption coefficients only."""
    name, own = panel.material, blueprint.materials.get(panel.material)
    plain = " ".join(name.lower().split())
    if own.absorption is None if own is not None else plain in build_ups() or _is_words(name):
        return
    layered = [each for each, record in blueprint.materials.items() if record.absorption is None]
    raise SceneError(
        locations.where(*key, "material"),
        f'"{name}" is given by absorption coefficients, and a panel needs layers'
        if own is not None or plain in library()
        else f'no layered material is called "{name}"',
        closest(name, (*layered, *build_ups()), what="the layered materials")
        + ', or describe your own under [materials] with build_up = "100 mm wool, 100 mm gap"',
    )


def _is_words(text: str) -> bool:
    """Whether a text tells layers, such as "100 mm wool"."""
    try:
        return layers_in_words(text) is not None
    except ValueError:
        return False


def refuse_layers_behind(blueprint: Blueprint, locations: Locations) -> None:
    """Raise SceneError when the wall behind a material's layers is itself told in layers."""
    for name, record in blueprint.materials.items():
        behind = blueprint.materials.get(record.behind or "")
        if behind is not None and behind.absorption is None:
            raise SceneError(
                locations.where("materials", name, "behind"),
                f'"{record.behind}" is given in layers itself',
                "name a wall that is given by absorption coefficients, and put all layers into one material",
            )
