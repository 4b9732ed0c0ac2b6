"""What is possible but unusual: said, not refused."""

from __future__ import annotations

import math

from .schema import Blueprint

USUAL_EAR_M = (0.9, 1.5)
USUAL_HEIGHT_M = 6.0
NEAR_WALL_M = 0.3
SAME_SEAT_M, BESIDE_M = 0.02, 0.01
"""Limits outside which a number deserves a second look (common practice, no source)."""


def what_looks_odd(blueprint: Blueprint) -> tuple[str, ...]:
    """Return one sentence for each unusual number."""
    return (*_room_oddities(blueprint), *_listener_oddities(blueprint), *_loudspeaker_oddities(blueprint))


def _room_oddities(blueprint: Blueprint) -> list[str]:
    height = blueprint.room.box.height if blueprint.room.box else blueprint.room.height
    if height is not None and height > USUAL_HEIGHT_M:
        return [f"The room is {height:.2f} m high; more than {USUAL_HEIGHT_M:g} m is unusual, check the unit."]
    return []


def _listener_oddities(blueprint: Blueprint) -> list[str]:
    seats = [("The ear", blueprint.listener.ear)]
    if blueprint.listener.second_seat is not None:
        seats.append((f"The ear of the {blueprint.listener.second_seat.name}", blueprint.listener.second_seat.ear))
    sentences = []
    for who, ear in seats:
        if not USUAL_EAR_M[0] <= ear.up <= USUAL_EAR_M[1]:
            sentences.append(
                f"{who} is {ear.up:.2f} m above the floor; seated ears are usually at "
                f"{USUAL_EAR_M[0]:g} to {USUAL_EAR_M[1]:g} m."
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
                sentences.append(f"{who} is only {gap:.2f} m from the {wall}; is the distance right?")
    first, *second = (ear.coordinates for _, ear in seats)
    if second and math.dist(first, second[0]) < SAME_SEAT_M:
        sentences.append("The second seat is where the first is, so both hear the same.")
    return sentences


def _loudspeaker_oddities(blueprint: Blueprint) -> list[str]:
    sentences = []
    across = blueprint.listener.ear.from_left
    for one in blueprint.loudspeakers:
        words, beyond = one.name.lower().split(), one.acoustic_axis.from_left - across
        if ("left" in words and beyond > BESIDE_M) or ("right" in words and beyond < -BESIDE_M):
            side = "right" if beyond > 0.0 else "left"
            sentences.append(f'"{one.name}" is {abs(beyond):.2f} m to the {side} of the seat; is that meant?')
    if len(blueprint.loudspeakers) == 1:
        sentences.append(
            f'There is only one loudspeaker, "{blueprint.loudspeakers[0].name}"; left and right cannot be compared.'
        )
    return sentences
