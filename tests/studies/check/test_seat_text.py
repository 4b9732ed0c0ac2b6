"""What the sheet says of eyes, chairs and rising desks."""

from __future__ import annotations

import numpy as np

from sim.placement.sheet_seat import Aim, Gaze, Posture, SeatSheet
from sim.studies.check.text import seat_lines


def seat(*standing: Aim) -> SeatSheet:
    now = (Aim("left", 0.0, 0.0, 0.0, 2.0, ""), Aim("right", 0.0, 0.0, 0.0, 2.0, ""))
    gaze = Gaze("screen", 0.774, 0.86, 1.22, -0.76, -14.2, -26.3, 0.0)
    postures = (Posture("as it is", 1.2, False, now), Posture("standing", 1.6, False, standing or now))
    return SeatSheet(np.array([1.5, 1.7, 1.23]), (gaze,), postures, ())


def test_eyes_and_screens() -> None:
    lines = seat_lines(seat(), "m")
    assert lines[0] == "Eyes (taken 10.0 cm ahead of the ear and 3.0 cm above it): up 1.230 m"
    assert lines[1].strip() == (
        "screen: 0.774 m away, upper edge at 1.220 m (0.8 degrees down), middle 14.2 degrees down,"
        " lower edge 26.3 degrees down"
    )
    assert "  gaze at left: 2.0 degrees up" in lines


def test_loudspeakers_of_which_the_same_is_said_share_a_line() -> None:
    text = "\n".join(seat_lines(seat(), "m"))
    assert "left, right: level with the ear, the ear 0.0 degrees off its axis (now 0.0); level it would point" in text


def test_what_hides_it_then_is_said_once() -> None:
    hidden = Aim("left", -0.4, 17.5, -17.5, -20.0, "screen")
    seen = Aim("right", -0.4, 17.5, -17.5, -20.0, "")
    text = "\n".join(seat_lines(seat(hidden, seen), "cm"))
    assert "left: 40.0 cm below the ear, the ear 17.5 degrees off its axis (now 0.0); tilted 17.5 degrees up" in text
    assert text.count("the screen then hides it") == 1
