"""What a scan was found to be, the answer first: sizes, what is unsure, what was not seen, what a person has to say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sim.blueprint.units import difference_words, is_imperial, length_words, small_words
from sim.showing.numbers import joined, number_cell, yes_cell
from sim.surveying.scan.records import LEAST_SEEN, MOST_ERROR_M, ScannedRoom

LARGE_UNEXPLAINED = 0.05
"""Of a scan, so much far from everything in the scene is said (our choice)."""


def scan_lines(found: ScannedRoom) -> list[str]:
    """What the command says."""
    headline = found.headline()
    said = [f"{headline[:1].upper()}{headline[1:]}."]
    for heading, part in (
        ("Tape", list(_unsure(found))),
        ("Taken for granted", list(_assumed(found))),
        ("Walls", list(_walls(found))),
        ("In the room", list(_blocks(found))),
        ("Not seen", list(_not_seen(found))),
    ):
        if part:
            said += ["", heading, *(f"  {line}" for line in part)]
    return said


def _unsure(found: ScannedRoom) -> Iterator[str]:
    if not found.confirmed:
        yield (
            "Nothing confirms the size: measure one distance from wall to wall and give it, such as"
            f' --tape "{_example(found)}=4.12"'
        )
    for reading in found.tape:
        tape, scan = (length_words(metres, found.units) for metres in (reading.tape_m, reading.scan_m))
        off = difference_words(reading.scan_m - reading.tape_m, found.units)
        yield f"{reading.between}: {tape} by tape, {scan} in the scan ({off})."
    if found.factor != 1.0:
        yield f"All lengths of the scan were multiplied by {found.factor:.4f} to fit the tape."
    for wall in found.walls:
        if not wall.unsure:
            continue
        reasons = []
        if wall.seen < LEAST_SEEN:
            reasons.append(f"only {wall.seen:.0%} of it was seen")
        if wall.doubled_m > 0.0:
            reasons.append(
                f"it is there twice, {small_words(wall.doubled_m, found.units)} apart; the stronger layer was taken"
            )
        if wall.skewed:
            reasons.append(f"its direction is uncertain by {wall.error_deg:.1f} degrees")
        if not reasons or wall.error_m > MOST_ERROR_M:
            reasons.append(f"its place is uncertain by {small_words(wall.error_m, found.units)}")
        yield f"The {wall.name} is unsure: {joined(reasons)}."
    if found.unexplained > LARGE_UNEXPLAINED:
        yield (
            f"{found.unexplained:.0%} of the scan lies farther than {small_words(0.2, found.units)} from everything in"
            " the scene: look at the picture, something is missing."
        )
    yield "Left and right: a mirrored scan looks perfect. Check in the picture that the window is on the right side."


def _example(found: ScannedRoom) -> str:
    names = {wall.name for wall in found.walls}
    return "left wall to right wall" if {"left wall", "right wall"} <= names else "depth"


def _assumed(found: ScannedRoom) -> Iterator[str]:
    for words in found.assumed:
        yield f"{words[:1].upper()}{words[1:]}."
    yield f"The wall you face is the front wall: {found.front}."
    squared = [wall for wall in found.walls if wall.squared]
    if squared:
        most = max(abs(wall.off_square_deg) for wall in squared)
        which = "All walls" if len(squared) == len(found.walls) else f"{len(squared)} of {len(found.walls)} walls"
        yield f"{which} square: the scan has them within {most:.1f} degrees of it, which is within its uncertainty."
    yield from _turned(found)
    if not found.flat:
        yield "There is no level ceiling: the height is that of the highest place under the slopes."


def _turned(found: ScannedRoom) -> Iterator[str]:
    """What was made of the walls that are not square."""
    for kind, what in (
        ("45 degrees", "at 45 degrees to the others"),
        ("mirrored", "at the same angle, mirrored"),
    ):
        walls = [wall for wall in found.walls if wall.direction == kind]
        if walls:
            names = joined([f"the {wall.name}" for wall in walls])
            stand, them = ("stand", "them") if len(walls) > 1 else ("stands", "it")
            most = max(abs(wall.turned_deg) for wall in walls)
            yield (
                f"{names[:1].upper()}{names[1:]} {stand} {what}: the scan has {them} within {most:.1f} degrees of that,"
                " which is within its uncertainty."
            )
    for wall in found.walls:
        if wall.direction == "as scanned":
            yield f"The {wall.name} is {abs(wall.off_square_deg):.1f} degrees off square, and stays so."


def _walls(found: ScannedRoom) -> Iterator[str]:
    unit = found.units
    for wall in found.walls:
        place = small_words(2.0 * wall.error_m, unit)
        yield (
            f"{wall.name}: {length_words(wall.length_m, unit)} long, place within {place} (95 %), direction within"
            f" {2.0 * wall.error_deg:.1f} degrees, {wall.seen:.0%} seen"
        )
    for slope in found.slopes:
        place = small_words(2.0 * slope.error_m, unit)
        yield (
            f"{slope.name}: from {length_words(slope.knee_m, unit)} up the {slope.wall}, {slope.angle_deg:.1f} degrees,"
            f" place within {place}, steepness within {2.0 * slope.error_deg:.1f} degrees"
        )


def _area(square_metres: float, unit: str) -> str:
    return f"{square_metres / 0.3048**2:.0f} square feet" if is_imperial(unit) else f"{square_metres:.1f} m2"


def _blocks(found: ScannedRoom) -> Iterator[str]:
    for block in found.blocks:
        deep, wide = (length_words(block.high_m[k] - block.low_m[k], found.units) for k in range(2))
        ahead, across, top = (
            length_words(each, found.units) for each in (block.low_m[0], block.low_m[1], block.high_m[2])
        )
        what = "a top with air below" if block.table else "hangs from the ceiling" if block.kind == "beam" else "stands"
        yield (
            f"{block.name}: {wide} wide, {deep} deep, up to {top}, {ahead} from the front wall, {across} from the left"
            f" wall; {what}"
        )
    if found.blocks:
        yield "Boxes round what was there: rename them, correct them, or delete them in the scene."


def _not_seen(found: ScannedRoom) -> Iterator[str]:
    for part in found.not_seen:
        low, high, bottom, top = (length_words(each, found.units) for each in (*part.along_m, *part.up_m))
        area = _area(part.area_m2, found.units)
        if part.behind:
            yield f"{part.wall}, behind {part.behind}: {area}, {bottom} to {top} up"
            continue
        more = " The scan goes on behind it." if part.beyond else ""
        yield f"{part.wall}, {low} to {high} along it, {bottom} to {top} up: window, door or mirror? not seen.{more}"
    if any(not part.behind for part in found.not_seen):
        yield 'Each of these stands in the scene behind "#": measure it, say what it is, take the "#" away.'


def wall_rows(found: ScannedRoom) -> tuple[list[str], Sequence[Sequence[str]]]:
    """Headings and rows of the table of walls."""
    numbers = ["length_m", "error_m", "error_deg", "seen", "doubled_m", "off_square_deg"]
    headings = ["wall", *numbers, "squared", "direction", "unsure"]
    rows = [
        [
            str(row["wall"]),
            *(number_cell(float(row[key]), 3) for key in numbers),
            yes_cell(bool(row["squared"])),
            str(row["direction"]),
            yes_cell(bool(row["unsure"])),
        ]
        for row in found.rows()
    ]
    return headings, rows
