"""The library of absorbers by construction, and how a layer is given in a few words with numbers in SI units."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Final, cast

from sim.acoustics.layers import AirGap, Backing, BuildUp, Cloth, Layer, Membrane, PerforatedSheet, PorousLayer
from sim.acoustics.porous import PorousModel

LAYER_KINDS: Final[Mapping[str, tuple[str, ...]]] = MappingProxyType(
    {
        "porous": ("of", "flow_resistivity", "model", "divided"),
        "gap": ("divided",),
        "cloth": ("mass",),
        "perforated": ("hole", "pitch", "open_share"),
        "membrane": ("friction",),
    }
)
"""The word that names each kind of layer (its value is a thickness, resistance or mass), and what may stand with it."""

TYPICAL_DENSITY_KG_M3: Final = 40.0
"""For the mass of a porous layer that names no material (common practice, no source)."""


@dataclass(frozen=True)
class PorousMaterial:
    """What a wool or foam has for one metre of thickness, the range one meets, and where the value is from."""

    name: str
    flow_resistivity_pa_s_m2: float
    range_pa_s_m2: tuple[float, float]
    density_kg_m3: float
    source: str
    note: str = ""


@lru_cache(maxsize=1)
def porous_materials() -> Mapping[str, PorousMaterial]:
    """Every porous material of the library by its lower-case trade name (read once, read-only)."""
    rows = cast("dict[str, dict[str, Any]]", _document()["porous"])
    return MappingProxyType(
        {
            name: PorousMaterial(
                name=name,
                flow_resistivity_pa_s_m2=float(row["flow_resistivity"]),
                range_pa_s_m2=(float(row["range"][0]), float(row["range"][1])),
                density_kg_m3=float(row["density"]),
                source=str(row["source"]),
                note=str(row.get("note", "")),
            )
            for name, row in rows.items()
        }
    )


@lru_cache(maxsize=1)
def build_ups() -> Mapping[str, BuildUp]:
    """Every build-up of the library on a hard wall, by its name (read once, read-only)."""
    rows = cast("dict[str, dict[str, Any]]", _document()["build_ups"])
    return MappingProxyType(
        {
            name: assemble(
                name,
                row["layers"],
                source=str(row["source"]),
                facing_kg_m2=float(row.get("facing", 0.0)),
                note=str(row.get("note", "")),
            )
            for name, row in rows.items()
        }
    )


def find_build_up(name: str) -> BuildUp:
    """Return the library's build-up of this name; capitals and stray blanks do not matter.

    Raises KeyError whose one argument is a sentence part that names the closest, or all of them.
    """
    wanted = " ".join(name.lower().split())
    if wanted in build_ups():
        return build_ups()[wanted]
    raise KeyError(f"no build-up is called '{name}'; {nearest(wanted, list(build_ups()))}")


def find_porous_material(name: str) -> PorousMaterial:
    """Return the library's porous material of this name; KeyError as `find_build_up`."""
    wanted = " ".join(name.lower().split())
    if wanted in porous_materials():
        return porous_materials()[wanted]
    raise KeyError(f"no porous material is called '{name}'; {nearest(wanted, list(porous_materials()))}")


def assemble(
    name: str,
    layers: Sequence[Mapping[str, Any]],
    *,
    backing: Backing | None = None,
    source: str = "",
    facing_kg_m2: float = 0.0,
    note: str = "",
) -> BuildUp:
    """Make a build-up of layers told as in the library (front to wall), with an estimate of its mass.

    `facing_kg_m2` is for frame, cloth and board, whichever are not told by the layers.  Raises ValueError ("found;
    remedy") for a layer that cannot be.
    """
    made = tuple(layer_of(words) for words in layers)
    mass = facing_kg_m2 + sum(_mass(words) for words in layers)
    return BuildUp(
        name=name,
        layers=made,
        backing=backing if backing is not None else Backing(),
        source=source,
        mass_kg_m2=mass,
        note=note,
    )


def layer_of(words: Mapping[str, Any]) -> Layer:
    """Make a layer from words as in the library: one of the keys of `LAYER_KINDS`, with what belongs to it.

    Values are in metres, Pa s/m2, Pa s/m and kg/m2; keys with the value None count as left out.  Raises ValueError
    ("found; remedy") when it is not clear what the layer is, or a number cannot be.
    """
    given = {key: value for key, value in words.items() if value is not None}
    kinds = [kind for kind in LAYER_KINDS if kind in given]
    listed = ", ".join(LAYER_KINDS)
    if len(kinds) != 1:
        found = "has none of " + listed if not kinds else "is " + " and ".join(kinds) + " at once"
        raise ValueError(f"the layer {found}; give each layer exactly one of {listed}")
    kind = kinds[0]
    stray = [key for key in given if key != kind and key not in LAYER_KINDS[kind]]
    if stray:
        known = ", ".join(LAYER_KINDS[kind])
        raise ValueError(f'the layer "{kind}" has "{stray[0]}"; what may stand with "{kind}" is {known}')
    size, divided = float(given[kind]), bool(given.get("divided", False))
    if kind == "porous":
        return PorousLayer(size, _flow_resistivity(given), cast("PorousModel", given.get("model", "miki")), divided)
    if kind == "gap":
        return AirGap(size, divided)
    if kind == "cloth":
        return Cloth(size, given.get("mass"))
    if kind == "membrane":
        return Membrane(size, float(given.get("friction", 0.0)))
    return _perforated(size, given)


def _flow_resistivity(given: Mapping[str, Any]) -> float:
    if ("of" in given) == ("flow_resistivity" in given):
        found = "has both" if "of" in given else "has neither of"
        raise ValueError(
            f'a porous layer {found} "of" and "flow_resistivity"; give one of them, such as of = "wool" or '
            "flow_resistivity = 10000 (Pa s/m2)"
        )
    if "of" not in given:
        return float(given["flow_resistivity"])
    try:
        return find_porous_material(str(given["of"])).flow_resistivity_pa_s_m2
    except KeyError as unknown:
        raise ValueError(unknown.args[0]) from None


def _perforated(thickness_m: float, given: Mapping[str, Any]) -> PerforatedSheet:
    if "hole" not in given or ("pitch" in given) == ("open_share" in given):
        raise ValueError(
            "the holes of a perforated layer are not clear; give hole (diameter) and one of pitch (from centre to "
            "centre) and open_share (0 to 1)"
        )
    if "pitch" in given:
        return PerforatedSheet.with_pitch(thickness_m, float(given["hole"]), float(given["pitch"]))
    return PerforatedSheet(thickness_m, float(given["hole"]), float(given["open_share"]))


def _mass(words: Mapping[str, Any]) -> float:
    """Estimate of kg/m2 of the layers that are told well enough: wool, foam, membranes and cloth with a mass."""
    if words.get("porous") is not None:
        of = words.get("of")
        density = find_porous_material(str(of)).density_kg_m3 if of is not None else TYPICAL_DENSITY_KG_M3
        return float(words["porous"]) * density
    return float(words.get("membrane") or words.get("mass") or 0.0)


def nearest(wanted: str, names: Sequence[str]) -> str:
    """Say which of the names are closest to the one wanted, or list all."""
    import difflib  # only needed when something went wrong

    close = difflib.get_close_matches(wanted, names, n=4, cutoff=0.5)
    if close:
        return "the closest are " + ", ".join(f"'{name}'" for name in close)
    return "the library has " + ", ".join(f"'{name}'" for name in sorted(names))


def _document() -> dict[str, Any]:
    text = resources.files("sim.acoustics").joinpath("buildups.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
