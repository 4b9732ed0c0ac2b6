"""What is said of a scene and not refused: defaults that matter, and what is possible but unusual."""

from __future__ import annotations

import math

from sim.blueprint.schema import KINDS, Blueprint
from sim.blueprint.units import length_words

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


# What is possible but unusual: said, not refused.

USUAL_EAR_M = (0.9, 1.5)
USUAL_HEIGHT_M = 6.0
NEAR_WALL_M = 0.3
SAME_SEAT_M, BESIDE_M = 0.02, 0.01
"""Limits outside which a number deserves a second look (common practice, no source)."""


def what_looks_odd(blueprint: Blueprint) -> tuple[str, ...]:
    """Return one sentence for each unusual number."""
    return (*_room_warnings(blueprint), *_listener_warnings(blueprint), *_loudspeaker_warnings(blueprint))


def _room_warnings(blueprint: Blueprint) -> list[str]:
    height = blueprint.room.box.height if blueprint.room.box else blueprint.room.height
    if height is not None and height > USUAL_HEIGHT_M:
        unit = blueprint.units
        return [
            f"The room is {length_words(height, unit)} high; more than {length_words(USUAL_HEIGHT_M, unit)} is "
            "unusual, check the unit."
        ]
    return []


def _listener_warnings(blueprint: Blueprint) -> list[str]:
    unit = blueprint.units
    seats = [("The ear", blueprint.listener.ear)]
    if blueprint.listener.second_seat is not None:
        seats.append((f"The ear of the {blueprint.listener.second_seat.name}", blueprint.listener.second_seat.ear))
    sentences = []
    for who, ear in seats:
        if not USUAL_EAR_M[0] <= ear.up <= USUAL_EAR_M[1]:
            sentences.append(
                f"{who} is {length_words(ear.up, unit)} above the floor; seated ears are usually at "
                f"{length_words(USUAL_EAR_M[0], unit)} to {length_words(USUAL_EAR_M[1], unit)}."
            )
        box = blueprint.room.box
        if box is not None:
            gaps = {
                "front wall": ear.from_front,
                "rear wall": box.depth - ear.from_front,
                "left wall": ear.from_left,
                "right wall": box.width - ear.from_left,
            }
            wall, gap = min(gaps.items(), key=lambda item: item[1])
            if 0.0 <= gap < NEAR_WALL_M:
                sentences.append(f"{who} is only {length_words(gap, unit)} from the {wall}; is the distance right?")
    first, *second = (ear.coordinates for _, ear in seats)
    if second and math.dist(first, second[0]) < SAME_SEAT_M:
        sentences.append("The second seat is where the first is, so both hear the same.")
    return sentences


def _loudspeaker_warnings(blueprint: Blueprint) -> list[str]:
    sentences = []
    unit = blueprint.units
    across = blueprint.listener.ear.from_left
    for one in blueprint.loudspeakers:
        words, beyond = one.name.lower().split(), one.acoustic_axis.from_left - across
        if ("left" in words and beyond > BESIDE_M) or ("right" in words and beyond < -BESIDE_M):
            side = "right" if beyond > 0.0 else "left"
            sentences.append(
                f'"{one.name}" is {length_words(abs(beyond), unit)} to the {side} of the seat; is that meant?'
            )
    if len(blueprint.loudspeakers) == 1:
        sentences.append(
            f'There is only one monitor, "{blueprint.loudspeakers[0].name}"; left and right cannot be compared.'
        )
    return sentences
