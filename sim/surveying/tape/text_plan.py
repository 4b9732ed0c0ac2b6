"""The plan of a room as text: plain characters that any terminal shows, within 80 columns, walls with their lengths."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Final

from sim.blueprint.first_layout import FirstLayout, laid_out
from sim.blueprint.first_places import along_wall, beam_block, ceiling_m, free_stretches
from sim.blueprint.first_room import DESK_TOP_M, FirstRoom
from sim.errors import SceneError
from sim.surveying.tape.asking import COLUMNS
from sim.surveying.tape.balance_words import LETTERS, exact_words
from sim.surveying.tape.canvas import Canvas

_WIDE: Final = 48
"""Columns for the room itself; the rest is for labels beside it."""
_HIGH: Final = 17
_BESIDE: Final = 17
"""Columns kept free on either side for lengths."""
_SECTION_HIGH: Final = 7
_MARKS: Final = {
    "#": "desk",
    "S": "screen",
    "L": "left monitor",
    "R": "right monitor",
    "o": "ear",
    "W": "window",
    "D": "door",
    "h": "radiator",
    "%": "beam",
    ".": "below a slope",
}
"""What characters stand for, apart from walls and letters of corners."""


def plan_lines(room: FirstRoom, unit: str, *, letters: bool = False, layout: bool = False) -> list[str]:
    """Draw a room from above, the front wall at the top, with the lengths of its walls.

    letters: whether corners are marked by their letters, as for an outline that was measured corner by corner.
    layout: whether monitors, desk and seat are drawn as well.
    """
    corners = [(ahead, across) for _, ahead, across in room.outline()]
    deep, wide = max(one[0] for one in corners), max(one[1] for one in corners)
    per_metre = min(_WIDE / wide, 2.0 * _HIGH / deep)

    def cell(ahead: float, across: float) -> tuple[int, int]:
        """Row and column of a place; a character is about twice as high as it is wide."""
        return 1 + round(0.5 * per_metre * ahead), _BESIDE + round(per_metre * across)

    canvas = Canvas(cell(deep, wide)[0] + 3, COLUMNS)
    _below(canvas, room, per_metre)
    for beam in room.beams:
        block = beam_block(room, beam)
        canvas.fill(
            cell(block.from_front_m[0], block.from_left_m[0]), cell(block.from_front_m[1], block.from_left_m[1]), "%"
        )
    if layout:
        _stand(canvas, room, cell)
    cells = [cell(*one) for one in corners]
    for start, end in zip(cells, [*cells[1:], cells[0]], strict=True):
        canvas.wall(start, end)
    for side, along, mark in (
        *((one.side, one.along_m, "W" if one.kind == "window" else "D") for one in room.openings),
        *((one.side, one.along_m, "h") for one in room.radiators),
    ):
        first, last = _on_wall(room, side, along)
        canvas.line(cell(*first), cell(*last), mark)
    for number, one in enumerate(cells):
        canvas.put(*one, LETTERS[number] if letters else "+")
    left_out = _lengths(canvas, room, cells, unit, letters)
    lines = canvas.lines()
    seen = {letter for line in lines for letter in line}
    words = [f"{mark} {word}" for mark, word in _MARKS.items() if mark in seen and _is_drawn(mark, room, layout)]
    return [*lines, *left_out, *wrapped(words)]


def _is_drawn(mark: str, room: FirstRoom, layout: bool) -> bool:
    kinds = {opening.kind for opening in room.openings}
    drawn = {
        "S": layout and room.screen is not None,
        "W": "window" in kinds,
        "D": "door" in kinds,
        "h": bool(room.radiators),
        "%": bool(room.beams),
        ".": bool(room.slopes),
    }
    return drawn.get(mark, layout)


def section_lines(room: FirstRoom, unit: str) -> list[str]:
    """Draw a room with slopes as one sees it standing inside, cut where its ceiling is highest; else no lines.

    Slopes to the left or right are seen from the rear wall, those to the front and rear from the right, front left.
    """
    if not room.slopes:
        return []
    sideways = any(abs(one[1][0] - one[2][0]) > abs(one[1][1] - one[2][1]) for one in _sloped(room))
    axis = 1 if sideways else 0
    corners = [(ahead, across) for _, ahead, across in room.outline()]
    other = [one[1 - axis] for one in corners]
    ats = [min(other) + share * (max(other) - min(other)) for share in (0.5, 0.3, 0.7)]
    at, (low, high) = max(
        (
            (at, max(free, key=lambda one: one[1] - one[0]))
            for at in ats
            if (free := free_stretches(room, axis, at, 0.0))
        ),
        key=lambda one: one[1][1] - one[1][0],
    )
    per_metre = min(_WIDE / (high - low), 2.0 * _SECTION_HIGH / room.height_m)
    canvas = Canvas(2 + round(0.5 * per_metre * room.height_m), COLUMNS)

    def ceiling(along: float) -> float:
        return ceiling_m(room, at, along) if sideways else ceiling_m(room, along, at)

    def cell(along: float, up: float) -> tuple[int, int]:
        return 1 + round(0.5 * per_metre * (room.height_m - up)), _BESIDE + round(per_metre * (along - low))

    steps = max(2, round(per_metre * (high - low)))
    places = [low + (high - low) * step / steps for step in range(steps + 1)]
    tops = [cell(along, ceiling(along)) for along in places]
    for start, end in pairwise(tops):
        canvas.put(*start, "_" if start[0] == end[0] else "/" if end[0] < start[0] else "\\")
    canvas.wall(tops[0], cell(low, 0.0))
    canvas.wall(tops[-1], cell(high, 0.0))
    canvas.wall(cell(low, 0.0), cell(high, 0.0))
    ends = ((low, tops[0]), (high, tops[-1]))
    peak = max(map(ceiling, places))
    peak = room.height_m if room.height_m - peak < 0.5 / per_metre else peak  # a ridge between two characters
    for sign, (along, top) in zip((-1, 1), ends, strict=True):
        words = exact_words(ceiling(along), unit)
        row = (top[0] + cell(along, 0.0)[0]) // 2
        if abs(ceiling(along) - peak) < 1e-3:
            continue  # said above the drawing
        canvas.write(row, top[1] - 2 - len(words) if sign < 0 else top[1] + 3, words)
    words = exact_words(peak, unit)
    canvas.write(0, tops[len(tops) // 2][1] - len(words) // 2, words)
    seen = "From the rear wall, facing the front" if sideways else "From the right wall, front at the left"
    return [f"{seen}:", *canvas.lines()]


def _sloped(room: FirstRoom) -> list[tuple[str, tuple[float, float], tuple[float, float]]]:
    return [room.wall(slope.side) for slope in room.slopes]


def wrapped(words: list[str]) -> list[str]:
    """Words in a row, two blanks between them, broken before column 80."""
    lines: list[str] = []
    for word in words:
        if lines and len(lines[-1]) + 3 + len(word) <= COLUMNS:
            lines[-1] += f"   {word}"
        else:
            lines.append(f"  {word}")
    return lines


def _below(canvas: Canvas, room: FirstRoom, per_metre: float) -> None:
    """Dot the floor wherever the ceiling above is lower than it gets."""
    if not room.slopes:
        return
    for row in range(canvas.height):
        ahead = (row - 1) / (0.5 * per_metre)
        for low, high in free_stretches(room, 1, ahead + 1e-6, 0.0):
            for column in range(_BESIDE + 2 + round(per_metre * low), _BESIDE + round(per_metre * high) - 1, 2):
                if ceiling_m(room, ahead, (column - _BESIDE) / per_metre) < room.height_m - 0.02:
                    canvas.put(row, column, ".")


def _stand(canvas: Canvas, room: FirstRoom, cell: Callable[[float, float], tuple[int, int]]) -> None:
    """Desk, screen, monitors and seat, as far as they fit."""
    try:
        layout: FirstLayout = laid_out(room)
    except SceneError:
        return
    ahead, across = layout.desk, (layout.middle - layout.desk_half, layout.middle + layout.desk_half)
    if room.desk is not None:
        ahead, across = room.desk.from_front_m, room.desk.from_left_m
    canvas.fill(cell(ahead[0], across[0]), cell(ahead[1], across[1]), "#")
    if room.screen is not None:
        at, half = room.screen.at_m, 0.5 * room.screen.width_m
        canvas.fill(cell(at[0], at[1] - half), cell(at[0], at[1] + half), "S")
    places = room.monitors or (
        (layout.front, layout.middle - layout.half_base, DESK_TOP_M),
        (layout.front, layout.middle + layout.half_base, DESK_TOP_M),
    )
    for mark, place in zip("LR", places, strict=True):
        canvas.put(*cell(place[0], place[1]), mark)
    seat = room.seat or (layout.ear, layout.middle, 0.0)
    canvas.put(*cell(seat[0], seat[1]), "o")
    if room.second_seat is not None:
        canvas.put(*cell(room.second_seat[0], room.second_seat[1]), "o")


def _on_wall(
    room: FirstRoom, side: str, along_m: tuple[float, float]
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Both ends, in the plan, of what runs along a wall."""
    _, start, end = room.wall(side)
    key, span = along_wall(room, side, along_m)
    axis = ("from_front", "from_left").index(key)

    def place(value: float) -> tuple[float, float]:
        share = (value - start[axis]) / (end[axis] - start[axis])
        return start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])

    return place(span[0]), place(span[1])


def _lengths(canvas: Canvas, room: FirstRoom, cells: list[tuple[int, int]], unit: str, letters: bool) -> list[str]:
    """Write the length of each wall beside it; returns lines for those that found no place."""
    walls = room.outline()
    left_out = []
    for number, ((name, *start), (_, *end)) in enumerate(zip(walls, [*walls[1:], walls[0]], strict=True)):
        words = exact_words(math.hypot(end[0] - start[0], end[1] - start[1]), unit)
        first, last = cells[number], cells[(number + 1) % len(cells)]
        middle = ((first[0] + last[0]) // 2, (first[1] + last[1]) // 2)
        flat = abs(last[1] - first[1]) > abs(last[0] - first[0])
        titled = f"{name} {words}" if flat and abs(last[1] - first[1]) > len(name) + len(words) + 3 else words
        if flat:
            tries = [(middle[0] + step, middle[1] - len(titled) // 2) for step in (-1, 1, -2, 2)]
        else:
            tries = [(middle[0], middle[1] - 2 - len(words)), (middle[0], middle[1] + 3)]
        if _outward(cells, number) > 0:
            tries = [*tries[1:2], *tries[:1], *tries[2:]]
        if not any(canvas.write(row, column, titled if flat else words) for row, column in tries):
            pair = f" ({LETTERS[number]}{LETTERS[(number + 1) % len(cells)]})" if letters else ""
            left_out.append(f"{name}{pair} {words}")
    return wrapped(left_out)


def _outward(cells: list[tuple[int, int]], number: int) -> int:
    """+1 where the outside of a wall lies below or to the right of it, else -1."""
    count = len(cells)
    doubled = sum(
        cells[one][0] * cells[(one + 1) % count][1] - cells[(one + 1) % count][0] * cells[one][1]
        for one in range(count)
    )
    start, end = cells[number], cells[(number + 1) % count]
    down, right = end[0] - start[0], end[1] - start[1]
    normal = (-right, down) if doubled < 0 else (right, -down)
    component = normal[0] if abs(right) > abs(down) else normal[1]
    return 1 if component > 0 else -1
