"""Plans as text: plain characters in 80 columns, every wall with its length, things where they are."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.first_room import FirstBeam, FirstOpening, FirstRadiator, FirstRoom, FirstScreen, FirstSlope
from sim.surveying.tape.balance_words import exact_words
from sim.surveying.tape.text_plan import plan_lines, section_lines
from sim.surveying.tape.wall_names import named_walls

BOX = FirstRoom(3.4, 4.2, 2.4)


def place_of(lines: list[str], mark: str) -> tuple[int, int]:
    """Row and column of the only character of a kind between the walls."""
    inside = [line[18:44] if line[17:18] in tuple("|WDh") else "" for line in lines]
    ((row, column),) = ((row, 18 + line.index(mark)) for row, line in enumerate(inside) if mark in line)
    return row, column


def test_the_plan_of_a_box_to_the_character() -> None:
    """Drawn by hand: 17 rows for 4.2 m, so 8.1 columns for a metre."""
    lines = plan_lines(BOX, "m")
    assert lines[:4] == [
        "                       front wall 3.40 m",
        "                 +---------------------------+",
        "                 |                           |",
        "                 |                           |",
    ]
    assert lines[9] == "         4.20 m  |                           |  4.20 m"
    assert lines[-2:] == [
        "                 +---------------------------+",
        "                       rear wall 3.40 m",
    ]
    assert len(lines) == 20


def test_left_is_left_and_front_is_above() -> None:
    room = FirstRoom(
        3.4,
        4.2,
        2.4,
        openings=(FirstOpening("window", "left", (1, 2), (1, 2)), FirstOpening("door", "rear", (2.4, 3.2), (0, 2))),
        radiators=(FirstRadiator("front", (0.2, 1), (0.1, 0.7), 0.1),),
        beams=(FirstBeam("across", (3.0, 3.2), 2.2),),
        screen=FirstScreen((0.8, 1.7, 0.9), 0.6, 0.35),
    )
    lines = plan_lines(room, "m", layout=True)
    (left, right), seat = (place_of(lines, mark) for mark in "LR"), place_of(lines, "o")
    assert left[0] == right[0] < seat[0] and left[1] < seat[1] < right[1]
    windows = [line.index("W") for line in lines if "W" in line and "window" not in line]
    assert len(windows) >= 4 and set(windows) == {17}, "on the left wall"
    (front,) = (line for line in lines if "hh" in line)
    assert front.startswith("                 +") and front.index("h") < 30, "at the left of the front wall"
    (rear,) = (line for line in lines if "DD" in line)
    assert lines.index(rear) > seat[0] and rear.index("D") > 32, "at the right of the rear wall"
    assert any("%%%%" in line for line in lines[seat[0] + 2 :])
    assert any("S screen" in line for line in lines)


CORNERS = st.lists(st.tuples(st.floats(-0.7, 0.7), st.floats(-0.7, 0.7)), min_size=4, max_size=4)


@settings(max_examples=60, deadline=None)
@given(
    width=st.floats(2.5, 12.0),
    depth=st.floats(2.5, 12.0),
    moved=CORNERS,
    unit=st.sampled_from(["m", "cm", "mm", "in", "ft"]),
)
def test_any_quadrilateral_fits_80_plain_columns_and_all_its_walls_have_their_length(
    width: float, depth: float, moved: list[tuple[float, float]], unit: str
) -> None:
    square = [(0.0, 0.0), (0.0, width), (depth, width), (depth, 0.0)]
    places = [(a + da, b + db) for (a, b), (da, db) in zip(square, moved, strict=True)]
    least = [min(place[axis] for place in places) for axis in (0, 1)]
    corners = [(a - least[0], b - least[1]) for a, b in places]
    room = FirstRoom(max(b for _, b in corners), max(a for a, _ in corners), 2.4, walls=named_walls(corners))
    lines = plan_lines(room, unit, letters=True)
    assert max(map(len, lines)) <= 80 and len(lines) <= 30
    assert all(line.isascii() and line.isprintable() for line in lines)
    for letter in "ABCD":
        assert sum(line.count(letter) for line in lines) >= 1
    for start, end in zip(corners, [*corners[1:], corners[0]], strict=True):
        length = ((end[0] - start[0]) ** 2 + (end[1] - start[1]) ** 2) ** 0.5
        assert any(exact_words(length, unit) in line for line in lines)


def test_a_section_shows_knee_and_ridge() -> None:
    room = FirstRoom(4.6, 5.4, 2.4, slopes=(FirstSlope("left", 0.9, 2.3), FirstSlope("right", 1.2, 2.3)))
    lines = section_lines(room, "m")
    assert lines[0] == "From the rear wall, facing the front:"
    assert any("2.40 m" in line for line in lines[1:3])
    assert any("0.90 m  |" in line for line in lines) and any("|  1.20 m" in line for line in lines)
    assert section_lines(BOX, "m") == []
    front = section_lines(FirstRoom(4.6, 5.4, 2.4, slopes=(FirstSlope("front", 0.9, 2.3),)), "in")
    assert front[0] == "From the right wall, front at the left:"
    assert any("2 ft 11 1/2 in  |" in line for line in front)


@pytest.mark.parametrize(
    ("metres", "unit", "words"),
    [
        (3.41, "m", "3.41 m"),
        (3.4095, "m", "3.409 m"),
        (3.41, "cm", "341 cm"),
        (3.4123, "mm", "3412 mm"),
        (3.40995, "ft", "11 ft 2 1/4 in"),
    ],
)
def test_lengths_as_a_tape_has_them(metres: float, unit: str, words: str) -> None:
    assert exact_words(metres, unit) == words
