"""Which defaults a person should know of, because the answer depends on them."""

from __future__ import annotations

from .schema import KINDS, Blueprint

_SIZES = ("width", "height", "depth", "woofer_diameter", "tweeter_diameter", "spacing", "crossovers_hz")


def defaulted_keys(blueprint: Blueprint) -> tuple[str, ...]:
    """Return dotted keys that the file left out, in the order of the file's sections.

    A loudspeaker whose model is a bare kind counts as `models.<kind>`: all its sizes are the usual ones.
    """
    keys: list[str] = []
    if not blueprint.room.materials:
        keys.append("room.materials")
    keys += _unset("listener", blueprint.listener.model_fields_set, ("head_box",))
    for number, loudspeaker in enumerate(blueprint.loudspeakers):
        keys += _unset(
            f"loudspeakers[{number}]",
            loudspeaker.model_fields_set,
            ("model", "toe_in_deg", "tilt_deg", "standing"),
        )
    for name in dict.fromkeys(loudspeaker.model for loudspeaker in blueprint.loudspeakers):
        if name in blueprint.models:
            model = blueprint.models[name]
            sizes = tuple(key for key in _SIZES if key != "crossovers_hz" or model.kind != "point")
            if model.kind not in KINDS:
                sizes = ("axis_above_bottom",) if model.width is not None else ()
            keys += _unset(f"models.{name}", model.model_fields_set, sizes)
        elif name in KINDS:
            keys.append(f"models.{name}")
    air = tuple(type(blueprint.air).model_fields)
    keys += _unset("air", blueprint.air.model_fields_set, air)
    target = tuple(key for key in type(blueprint.target).model_fields if key != "preset")
    keys += _unset("target", blueprint.target.model_fields_set, target)
    method = ("order", "grid", "placement_error")
    keys += _unset("method", blueprint.method.model_fields_set, method)
    return tuple(keys)


def _unset(section: str, given: set[str], keys: tuple[str, ...]) -> list[str]:
    return [f"{section}.{key}" for key in keys if key not in given]
