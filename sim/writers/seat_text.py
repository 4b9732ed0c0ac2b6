"""The person at the seat as plain lines: gaze, a lower chair, a desk that rises."""

from __future__ import annotations

from ..placement.sheet_seat import EYE_ABOVE_M, EYE_AHEAD_M, Aim, Gaze, Posture, SeatSheet
from .lengths import format_length, format_small

SAME_DEG = 0.05


def seat_lines(seat: SeatSheet, unit: str) -> list[str]:
    """Lines on eyes, screens and postures; loudspeakers stay as they are turned."""
    lines = [
        f"Eyes (taken {format_small(EYE_AHEAD_M, unit)} ahead of the ear and {format_small(EYE_ABOVE_M, unit)} above "
        f"it): up {format_length(float(seat.eye[2]), unit)}"
    ]
    lines += [f"  {_gaze(one, unit)}" for one in seat.gazes]
    lines += [f"  gaze at {one.loudspeaker}: {_upward(one.gaze_deg)}" for one in seat.postures[0].aims]
    lines += ["", "If the person or the desk changes height, the loudspeakers staying turned as they are"]
    for posture in seat.postures[1:]:
        lines.append(f"  {posture.words} (ear at {format_length(posture.ear_height_m, unit)}):")
        lines += [f"    {words}" for words in _posture(posture, seat.postures[0], unit)]
    return lines


def _posture(posture: Posture, now: Posture, unit: str) -> list[str]:
    """One line a loudspeaker, or one for all of which the same can be said."""
    told: dict[str, list[str]] = {}
    before = {one.loudspeaker: one for one in now.aims}
    for one in posture.aims:
        told.setdefault(_aim(one, before[one.loudspeaker], unit), []).append(one.loudspeaker)
    return [f"{', '.join(names)}: {words}" for words, names in told.items()]


def _aim(one: Aim, before: Aim, unit: str) -> str:
    words = "level with the ear"
    if abs(one.over_ear_m) >= 0.0005:
        words = f"{format_length(abs(one.over_ear_m), unit)} {'above' if one.over_ear_m > 0 else 'below'} the ear"
    words += f", the ear {one.off_axis_deg:.1f} degrees off its axis (now {before.off_axis_deg:.1f})"
    if abs(one.tilt_needed_deg) < SAME_DEG:
        words += "; level it would point at the ear"
    else:
        way = "down" if one.tilt_needed_deg > 0 else "up"
        words += f"; tilted {abs(one.tilt_needed_deg):.1f} degrees {way} it would point at the ear"
    if one.hidden and not before.hidden:
        words += f"; the {one.hidden} then hides it"
    elif before.hidden and not one.hidden:
        words += f"; the {before.hidden} no longer hides it"
    return words


def _gaze(one: Gaze, unit: str) -> str:
    return (
        f"{one.screen}: {format_length(one.distance_m, unit)} away, upper edge at {format_length(one.top_m, unit)}"
        f" ({_upward(one.top_deg)}), middle {_upward(one.middle_deg)}, lower edge {_upward(one.bottom_deg)}"
    )


def _upward(angle_deg: float) -> str:
    if abs(angle_deg) < SAME_DEG:
        return "level"
    return f"{abs(angle_deg):.1f} degrees {'up' if angle_deg > 0 else 'down'}"
