"""The person at the seat: gaze at screens and loudspeakers, a lower chair, a desk that rises.

The eye is taken 0.10 m ahead of the ear point (the middle of the head) and 0.03 m above it: ear canal and lower rim of
the eye are level in a head held straight (the Frankfurt plane of anthropometry), the pupil is a little higher.  Lengths
in metres, angles in degrees; gaze is positive upward.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, frozen
from sim.blueprint.furniture import Furniture
from sim.blueprint.schema import Blueprint
from sim.blueprint.units import small_words
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker, aim_angles
from sim.placement.sheet import sight_lines

EYE_AHEAD_M: Final = 0.10
EYE_ABOVE_M: Final = 0.03
LOWER_M: Final = 0.10
STANDING_M: Final = 0.40
"""How much higher the ear is when one stands at a sit-stand desk (common practice, no source)."""
LOOK_UP_DEG: Final = 15.0
"""Beyond this the neck bends back to look at a loudspeaker (common practice, no source)."""
SCREEN_TOP_DEG: Final = 2.0
"""The upper edge of a screen should not be above the eyes (common practice, no source); this much is let pass."""


@printable
@dataclass(frozen=True, slots=True)
class Gaze:
    """One screen from the seat.

    Attributes
    ----------
    screen
        Its name.
    distance_m
        Of its middle from the eye.
    bottom_m, top_m
        Heights of its edges.
    top_deg, middle_deg, bottom_deg
        Gaze at its top, middle and bottom, positive upward.
    aside_deg
        How far its middle lies to the side.
    """

    screen: str
    distance_m: float
    bottom_m: float
    top_m: float
    top_deg: float
    middle_deg: float
    bottom_deg: float
    aside_deg: float


@printable
@dataclass(frozen=True, slots=True)
class Aim:
    """One loudspeaker from one height of the ear.

    Attributes
    ----------
    loudspeaker
        Its name.
    over_ear_m
        Positive when the axis point is higher than the ear.
    off_axis_deg
        Angle of the ear from the axis.
    tilt_needed_deg
        What points at the ear, positive down.
    gaze_deg
        Angle at which the eye sees the axis point, positive upward.
    hidden
        What hides a driver, or empty.
    """

    loudspeaker: str
    over_ear_m: float
    off_axis_deg: float
    tilt_needed_deg: float
    gaze_deg: float
    hidden: str


@printable
@dataclass(frozen=True, slots=True)
class Posture:
    """Loudspeakers from one height of the ear.

    Attributes
    ----------
    words
        Which height it is.
    ear_height_m
        In metres.
    rides
        Whether only those are told that a desk lifts along.
    aims
        One for each loudspeaker.
    """

    words: str
    ear_height_m: float
    rides: bool
    aims: tuple[Aim, ...]


@printable
@dataclass(frozen=True, slots=True)
class SeatSheet:
    """The person at the seat.

    Attributes
    ----------
    eye
        (3,) in metres.
    gazes
        One for each screen.
    postures
        As it is first, then lower, then standing.
    warnings
        What the neck would not like, in sentences.
    """

    eye: FloatArray
    gazes: tuple[Gaze, ...]
    postures: tuple[Posture, ...]
    warnings: tuple[str, ...]


def seat_sheet(blueprint: Blueprint, built: BuiltScene) -> SeatSheet:
    """Look from the seat: screens, loudspeakers, the chair 10 cm lower, and a desk that rises by 40 cm.

    What stands on the floor or is built in does not rise with the desk; what is given by its position alone may.
    """
    eye = eye_of(built.ears[0])
    seen = (gaze_at(item, eye) for item in blueprint.furniture)
    gazes = tuple(gaze for gaze in seen if gaze is not None)
    postures = [
        _posture(built, "as it is", 0.0),
        _posture(built, f"{small_words(LOWER_M, blueprint.units)} lower", -LOWER_M),
    ]
    if built.ears[0][2] + STANDING_M < float(built.room.triangles[..., 2].max()) - 0.1:
        postures.append(_posture(built, "standing, monitors where they are", STANDING_M))
        riding = {one.name for one in blueprint.loudspeakers if one.standing in ("desk", "position")}
        if riding:
            postures.append(_posture(built, "standing, monitors riding along with the desk", STANDING_M, riding=riding))
    return SeatSheet(frozen(eye), gazes, tuple(postures), _warnings(gazes, postures[0]))


def eye_of(ear: FloatArray) -> FloatArray:
    """The middle between the eyes (3,) of a person who faces the front wall."""
    return np.asarray(ear + np.array([-EYE_AHEAD_M, 0.0, EYE_ABOVE_M]))


def gaze_at(item: Furniture, eye: FloatArray) -> Gaze | None:
    """Gaze angles from the eye (3,) at the middle line of a piece's face; positive is up, and to the right.

    None for what has no face that one looks at.
    """
    line = item.face_line()
    if line is None:
        return None
    foot, along = line
    low, middle, top = (foot + fraction * along - eye for fraction in (0.0, 0.5, 1.0))
    angles = [float(np.degrees(np.arctan2(way[2], np.hypot(way[0], way[1])))) for way in (low, middle, top)]
    return Gaze(
        item.name,
        float(np.linalg.norm(middle)),
        float(foot[2]),
        float(foot[2] + along[2]),
        angles[2],
        angles[1],
        angles[0],
        float(np.degrees(np.arctan2(middle[1], -middle[0]))),
    )


def _posture(built: BuiltScene, words: str, higher_m: float, *, riding: Collection[str] = ()) -> Posture:
    ear = built.ears[0] + np.array([0.0, 0.0, higher_m])
    hidden: dict[str, str] = {}
    if not riding:  # the room would have to be built anew with the desk and all that stands on it higher
        seen = replace(built, ears=frozen(ear[None]), listener_names=built.listener_names[:1])
        hidden = {line.loudspeaker: line.hidden_by for line in sight_lines(seen) if line.hidden_by}
    lift = np.array([0.0, 0.0, higher_m if riding else 0.0])
    aims = tuple(
        _aim(one, one.axis_point + lift, ear, hidden.get(one.name, ""))
        for one in built.loudspeakers
        if not riding or one.name in riding
    )
    return Posture(words, float(ear[2]), bool(riding), aims)


def _aim(one: PlacedLoudspeaker, axis_point: FloatArray, ear: FloatArray, hidden: str) -> Aim:
    away = ear - axis_point
    gaze = axis_point - eye_of(ear)
    return Aim(
        one.name,
        float(axis_point[2] - ear[2]),
        float(one.off_axis_deg(away / np.linalg.norm(away))),
        aim_angles(axis_point, ear)[1],
        float(np.degrees(np.arctan2(gaze[2], np.hypot(gaze[0], gaze[1])))),
        hidden,
    )


def _warnings(gazes: tuple[Gaze, ...], now: Posture) -> tuple[str, ...]:
    said = [
        f"neck: the upper edge of the {one.screen} is {one.top_deg:.0f} degrees above the eyes; lower or tilt it"
        for one in gazes
        if one.top_deg > SCREEN_TOP_DEG
    ]
    said += [
        f"neck: {one.loudspeaker} is {one.gaze_deg:.0f} degrees above the eyes; whoever looks at it bends the neck "
        "back: lower it, a healthy seat comes before a decibel"
        for one in now.aims
        if one.gaze_deg > LOOK_UP_DEG
    ]
    return tuple(said)
