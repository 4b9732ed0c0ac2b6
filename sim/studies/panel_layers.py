"""The thickness of an absorber told in words, such as the 100 mm of "100 mm wool, 50 mm gap"."""

from __future__ import annotations

import re

from ..acoustics.buildups import porous_materials
from ..blueprint.build_ups import layers_in_words
from ..blueprint.schema import Blueprint
from ..blueprint.units import text_to_metres

_LAYER = re.compile(
    r"(?P<size>[\d.,/ ]*[\d.](?:\s*(?:mm|cm|m|in|ft|\"|'))(?![a-z]))\s*(?:of\s+)?(?P<what>[a-z][a-z ]*)"
)


def words_of(blueprint: Blueprint, material: str) -> str:
    """Layers in words behind a panel's material; an empty text when it is told in another way."""
    own = blueprint.materials.get(material)
    if own is not None:
        return own.build_up or "" if own.behind is None else ""
    return material


def porous_thickness_m(words: str) -> float:
    """Thickness in metres of the first porous layer, nan when the words name none."""
    found = _first_porous(words)
    return text_to_metres(found["size"].strip()) if found else float("nan")


def with_porous_thickness(words: str, metres: float) -> str:
    """The same layers with the first porous one of another thickness.

    Raises ValueError ("found; remedy") when that makes no build-up.
    """
    found = _first_porous(words)
    if found is None:
        raise ValueError(f'"{words}" names no porous layer; tell it in words such as "100 mm wool"')
    if metres <= 0.0:
        raise ValueError(f"a layer of {1000.0 * metres:g} mm is none; choose more than 0 m")
    changed = f"{words[: found.start('size')]}{round(1000.0 * metres, 6):.12g} mm{words[found.end('size') :]}".lower()
    layers_in_words(changed)
    return changed


def _first_porous(words: str) -> re.Match[str] | None:
    """The first layer that is of a porous material of the library; None where any part is no such plain layer."""
    layers = list(_LAYER.finditer(words.lower()))
    between = _LAYER.sub("", words.lower())
    if between.strip(" ,+"):
        return None  # a name of the library such as "perforated board over 50 mm wool"
    return next((one for one in layers if " ".join(one["what"].split()) in porous_materials()), None)
