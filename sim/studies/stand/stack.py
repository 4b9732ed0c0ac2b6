"""A stack of pieces with a loudspeaker on it: heights, tilt, centre of gravity, and what a scene wishes.

Seen from the side: forward is toward the listener, zero is the middle of the stack, up from the floor; metres, degrees.
Every layer lies in the middle of the one below; the box stands `forward_m` off that middle.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, frozen
from sim.errors import SceneError
from sim.loudspeakers.loudspeaker import cabinet_corners
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker, rotation_of
from sim.studies.stand.pieces import Piece, TipAngles, axis_over_foot_m, spring_frequency_hz, tip_angle_deg

UNKNOWN_BOX_KG_M3 = 440.0
"""Mass of a loudspeaker for its volume, when nobody weighed it (common practice, no source)."""


@printable
@dataclass(frozen=True, slots=True)
class Wish:
    """A loudspeaker and where its acoustic axis point shall be.

    Attributes
    ----------
    axis_height_m, distance_m
        Height the axis point shall have (that of the ear), and how far the ear is in plan.
    width_m, height_m, depth_m, mass_kg
        Of the box as it stands.
    axis_in_cabinet_m
        Height of the axis point, which lies on the front, over the underside.
    forward_m
        How far the middle of the box is toward the listener from the middle of the stack.
    """

    axis_height_m: float
    distance_m: float
    width_m: float
    height_m: float
    depth_m: float
    mass_kg: float
    axis_in_cabinet_m: float
    forward_m: float = 0.0


@printable
@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a stack as it lies under its load.

    Attributes
    ----------
    piece, words
        What it is made of, and how that lies.
    width_m, depth_m, height_m
        Sizes in metres, pressed in.
    deflection_m
        By how much it gave way.
    mass_kg
        Mass of the layer.
    """

    piece: Piece
    words: str
    width_m: float
    depth_m: float
    height_m: float
    deflection_m: float
    mass_kg: float


@printable
@dataclass(frozen=True, slots=True)
class Stack:
    """Layers from the floor up, with the loudspeaker on top.

    Attributes
    ----------
    layers, height_m
        What lies on what, and the height of the top, pressed in by the load.
    axis_height_m, error_m
        Height of the axis point with the box level, and how far that is above (positive) what was wished.
    tilt_deg, tilted_axis_height_m
        Tilt that points the axis at the ear all the same (positive down), and the height it then has.
    mass_kg, centre_of_gravity_m
        Of all of it, box included; (forward, up).
    tips, weakest
        Least tip angles with the box tilted, and for each way (forward, rearward, sideways) over which layer.
    overhang_m
        How far the cabinet sticks out over the top layer, at most.
    rest_m, outline_m
        Rear and front end of what the level box rests on; corners (4, 2) of the tilted box from the side.
    """

    layers: tuple[Layer, ...]
    height_m: float
    axis_height_m: float
    error_m: float
    tilt_deg: float
    tilted_axis_height_m: float
    mass_kg: float
    centre_of_gravity_m: tuple[float, float]
    tips: TipAngles
    weakest: tuple[str, str, str]
    overhang_m: float
    rest_m: tuple[float, float]
    outline_m: FloatArray

    @property
    def pieces(self) -> int:
        """How many things are lifted, the box left out."""
        return sum(layer.piece.in_layer for layer in self.layers)

    @property
    def deflection_m(self) -> float:
        """How far all soft layers give way, one after the other."""
        return sum(layer.deflection_m for layer in self.layers)

    @property
    def spring_hz(self) -> float:
        """Natural frequency on the soft layers, infinite without any: layers in series, what lies between is light."""
        return spring_frequency_hz(self.deflection_m) if self.deflection_m > 0.0 else float("inf")


def stack_of(layers: Sequence[Layer], wish: Wish) -> Stack:
    """Put a loudspeaker on layers (from the floor up) and work out how it stands."""
    height = sum(layer.height_m for layer in layers)
    level = height + wish.axis_in_cabinet_m
    rest = rest_of(layers, wish)
    tilt, axis = tilt_to_ear_deg(height, rest, wish)
    outline = box_outline(height, rest, tilt, wish)
    centre = outline.mean(axis=0)
    tips, weakest = _tips(layers, wish, (float(centre[0]), float(centre[1])), _pressed(rest, tilt))
    masses = [*(layer.mass_kg for layer in layers), wish.mass_kg]
    total = sum(masses)
    overhang = max(0.0, wish.forward_m + 0.5 * wish.depth_m - rest[1], rest[0] - wish.forward_m + 0.5 * wish.depth_m)
    if layers:
        overhang = max(overhang, 0.5 * (wish.width_m - layers[-1].width_m))
    return Stack(
        tuple(layers),
        height,
        level,
        level - wish.axis_height_m,
        tilt,
        axis,
        total,
        (float(wish.mass_kg * centre[0] / total), float(np.dot(masses, [*_middles(layers), centre[1]])) / total),
        tips,
        weakest,
        overhang,
        rest,
        frozen(outline),
    )


def rest_of(layers: Sequence[Layer], wish: Wish) -> tuple[float, float]:
    """Rear and front end of the stretch on which a level box rests; the rear one ahead of the front one: on nothing."""
    rear, front = wish.forward_m - 0.5 * wish.depth_m, wish.forward_m + 0.5 * wish.depth_m
    if layers:
        rear, front = max(rear, -0.5 * layers[-1].depth_m), min(front, 0.5 * layers[-1].depth_m)
    return rear, front


def tilt_to_ear_deg(height_m: float, rest: tuple[float, float], wish: Wish) -> tuple[float, float]:
    """Tilt in degrees that points the axis at the ear from a top of that height, and the axis height it then has."""
    tilt, axis = 0.0, height_m + wish.axis_in_cabinet_m
    front = wish.forward_m + 0.5 * wish.depth_m
    for _ in range(60):  # lifting an edge moves the axis point a little, and with it the tilt that is needed
        last, tilt = tilt, math.degrees(math.atan2(axis - wish.axis_height_m, wish.distance_m))
        axis = height_m + axis_over_foot_m(wish.axis_in_cabinet_m, front - rest[tilt > 0.0], tilt)
        if abs(tilt - last) < 1e-12:
            break
    return tilt, axis


def box_outline(height_m: float, rest: tuple[float, float], tilt_deg: float, wish: Wish) -> FloatArray:
    """Corners (4, 2) of the box from the side, (forward, up): rear low, front low, front high, rear high.

    Tilted down (positive) it turns about the front end of what it rests on, tilted up about the rear end.
    """
    tilt = np.radians(tilt_deg)
    forward, up = np.array([np.cos(tilt), -np.sin(tilt)]), np.array([np.sin(tilt), np.cos(tilt)])
    pivot = rest[tilt_deg > 0.0]
    ahead = wish.forward_m + 0.5 * wish.depth_m - pivot
    front = np.array([pivot, height_m]) + ahead * forward
    rear = front - wish.depth_m * forward
    return np.array([rear, front, front + wish.height_m * up, rear + wish.height_m * up])


def _pressed(rest: tuple[float, float], tilt_deg: float) -> tuple[float, float]:
    """The stretch a tilted box presses on: from its edge to the wedge under the other end, seen from above."""
    length = (rest[1] - rest[0]) * float(np.cos(np.radians(tilt_deg)))
    return (rest[1] - length, rest[1]) if tilt_deg > 0.0 else (rest[0], rest[0] + length)


def _middles(layers: Sequence[Layer]) -> list[float]:
    tops = list(accumulate(layer.height_m for layer in layers))
    return [top - 0.5 * layer.height_m for top, layer in zip(tops, layers, strict=True)]


def _tips(
    layers: Sequence[Layer], wish: Wish, box: tuple[float, float], rests: tuple[float, float]
) -> tuple[TipAngles, tuple[str, str, str]]:
    """Least tip angle each way, over every joint: what lies above a joint may tip about the edge of what meets there.

    Going down from the box, `mass`, `forward` and `up` are those of everything above the joint.
    """
    mass, forward, up = wish.mass_kg, box[0], box[1]
    above = (rests[0], rests[1], wish.width_m)
    floor = sum(layer.height_m for layer in layers)
    middles = _middles(layers)
    least, names = [np.inf, np.inf, np.inf], ["", "", ""]
    for number in range(len(layers), -1, -1):
        below = layers[number - 1] if number else None
        rear, front, width = above
        if below is not None:
            rear, front = max(rear, -0.5 * below.depth_m), min(front, 0.5 * below.depth_m)
            width = min(width, below.width_m)
        ways = [
            tip_angle_deg(front - forward, up - floor),
            tip_angle_deg(forward - rear, up - floor),
            tip_angle_deg(0.5 * width, up - floor),
        ]
        for way, angle in enumerate(ways):
            if angle < least[way] - 1e-9:
                least[way], names[way] = angle, "the floor" if below is None else below.words
        if below is None:
            break
        heavier = mass + below.mass_kg
        forward, up = mass * forward / heavier, (mass * up + below.mass_kg * middles[number - 1]) / heavier
        mass, above, floor = heavier, (-0.5 * below.depth_m, 0.5 * below.depth_m, below.width_m), floor - below.height_m
    return TipAngles(*(float(angle) for angle in least)), (names[0], names[1], names[2])


# What a loudspeaker of a scene wishes of a stand: size as it is rolled, mass, where its axis is, where the ear is.

SQUARE_DEG = 1.0
"""A box rolled by further from a right angle stands on an edge."""


def loudspeaker_named(built: BuiltScene, name: str) -> PlacedLoudspeaker:
    """The loudspeaker of that name, or the first one for an empty name.

    Raises
    ------
    SceneError
        If none is called so.
    """
    for one in built.loudspeakers:
        if name in ("", one.name):
            return one
    names = ", ".join(one.name for one in built.loudspeakers)
    raise SceneError("--loudspeaker", f'none is called "{name}"', f"choose from {names}")


def wish_of(built: BuiltScene, name: str = "", *, mass_kg: float | None = None, forward_m: float = 0.0) -> Wish:
    """Put the axis of a loudspeaker at the height of the first ear; the box lies as it is rolled in the scene.

    Raises
    ------
    SceneError
        If it has no box in the room, or is rolled by no multiple of 90 degrees.
    """
    one = loudspeaker_named(built, name)
    local = cabinet_corners(one.model)
    if local is None:
        raise SceneError(
            one.name, "it has no cabinet that could stand on anything", "choose another with --loudspeaker"
        )
    if abs((one.roll_deg + 45.0) % 90.0 - 45.0) > SQUARE_DEG:
        raise SceneError(
            one.name, f"rolled by {one.roll_deg:g} degrees it stands on an edge", "roll it by 0, 90 or 180"
        )
    lying = local @ rotation_of(0.0, 0.0, one.roll_deg).T
    size, lowest = np.ptp(lying, axis=0), lying.min(axis=0)
    ear = built.ears[0]
    reported = mass_kg if mass_kg is not None else one.model.mass_kg
    return Wish(
        axis_height_m=float(ear[2]),
        distance_m=float(np.hypot(*(ear - one.axis_point)[:2])),
        width_m=float(size[1]),
        height_m=float(size[2]),
        depth_m=float(size[0]),
        mass_kg=float(np.prod(size)) * UNKNOWN_BOX_KG_M3 if reported is None else reported,
        axis_in_cabinet_m=-float(lowest[2]),
        forward_m=forward_m,
    )
