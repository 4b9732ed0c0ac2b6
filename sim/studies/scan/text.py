"""What a scan was found to be, the answer first: sizes, what is unsure, what was not seen, what a person has to say."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sim.showing.numbers import joined, number_cell, yes_cell
from sim.surveying.scan.records import ScannedRoom

LARGE_UNEXPLAINED = 0.05


def scan_lines(found: ScannedRoom) -> list[str]:
    """What the command says."""
    headline = found.headline()
    said = [f"{headline[:1].upper()}{headline[1:]}."]
    for heading, part in (
        ("To be measured with a tape", list(_unsure(found))),
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
            f' --tape "{_example(found)}" 4.12'
        )
    for reading in found.tape:
        off_cm = 100.0 * (reading.scan_m - reading.tape_m)
        yield (
            f"{reading.between}: {reading.tape_m:.3f} m by tape, {reading.scan_m:.3f} m in the scan ({off_cm:+.1f} cm)."
        )
    if found.factor != 1.0:
        yield f"All lengths of the scan were multiplied by {found.factor:.4f} to fit the tape."
    for wall in found.walls:
        if not wall.unsure:
            continue
        reasons = []
        if wall.seen < 0.3:
            reasons.append(f"only {wall.seen:.0%} of it was seen")
        if wall.doubled_m > 0.0:
            reasons.append(f"it is there twice, {100.0 * wall.doubled_m:.0f} cm apart; the stronger layer was taken")
        if not reasons or wall.error_m > 0.02:
            reasons.append(f"its place is uncertain by {100.0 * wall.error_m:.1f} cm")
        yield f"The {wall.name} is unsure: {joined(reasons)}."
    if found.unexplained > LARGE_UNEXPLAINED:
        yield (
            f"{found.unexplained:.0%} of the scan lies farther than 20 cm from everything in the scene: look at the"
            " picture, something is missing."
        )
    yield "Left and right: a mirrored scan looks perfect. Check in the picture that the window is on the right side."


def _example(found: ScannedRoom) -> str:
    names = {wall.name for wall in found.walls}
    return "left wall to right wall" if {"left wall", "right wall"} <= names else "depth"


def _assumed(found: ScannedRoom) -> Iterator[str]:
    for words in found.assumed:
        yield f"{words[:1].upper()}{words[1:]}."
    yield f"The front wall, the one you face: {found.front}."
    squared = [wall for wall in found.walls if wall.squared]
    if squared:
        most = max(abs(wall.off_square_deg) for wall in squared)
        which = "All walls" if len(squared) == len(found.walls) else f"{len(squared)} of {len(found.walls)} walls"
        yield f"{which} square: the scan has them within {most:.1f} degrees of it, which is within its uncertainty."
    for wall in found.walls:
        if not wall.squared:
            yield f"The {wall.name} is {abs(wall.off_square_deg):.1f} degrees off square, and stays so."
    if not found.flat:
        yield "There is no level ceiling: the height is that of the highest place under the slopes."


def _walls(found: ScannedRoom) -> Iterator[str]:
    for wall in found.walls:
        yield (
            f"{wall.name}: {wall.length_m:.2f} m long, place within {_cm(2.0 * wall.error_m)} (95 %), direction within"
            f" {2.0 * wall.error_deg:.1f} degrees, {wall.seen:.0%} seen"
        )
    for slope in found.slopes:
        yield (
            f"{slope.name}: from {slope.knee_m:.2f} m up the {slope.wall}, {slope.angle_deg:.1f} degrees, place within"
            f" {_cm(2.0 * slope.error_m)}, steepness within {2.0 * slope.error_deg:.1f} degrees"
        )


def _cm(metres: float) -> str:
    return f"{100.0 * metres:.1f} cm"


def _blocks(found: ScannedRoom) -> Iterator[str]:
    for block in found.blocks:
        size = [high - low for low, high in zip(block.low_m, block.high_m, strict=True)]
        what = "a top with air below" if block.table else "hangs from the ceiling" if block.kind == "beam" else "stands"
        yield (
            f"{block.name}: {size[1]:.2f} m wide, {size[0]:.2f} m deep, up to {block.high_m[2]:.2f} m, at from_front"
            f" {block.low_m[0]:.2f}, from_left {block.low_m[1]:.2f}; {what}"
        )
    if found.blocks:
        yield "Boxes round what was there: rename them, correct them, or delete them in the scene."


def _not_seen(found: ScannedRoom) -> Iterator[str]:
    for part in found.not_seen:
        where = (
            f"{part.wall}, {part.along_m[0]:.1f} to {part.along_m[1]:.1f} m along it, {part.up_m[0]:.1f} to"
            f" {part.up_m[1]:.1f} m up"
        )
        if part.behind:
            yield f"behind {part.behind}: {part.area_m2:.1f} m2 of the {where}"
        else:
            more = " The scan goes on behind it." if part.beyond else ""
            yield f"{part.area_m2:.1f} m2 of the {where}: window, door or mirror? not seen.{more}"
    if any(not part.behind for part in found.not_seen):
        yield 'Each stands in the scene behind "#": measure it, say what it is, take the "#" away.'


def wall_rows(found: ScannedRoom) -> tuple[list[str], Sequence[Sequence[str]]]:
    """Headings and rows of the table of walls."""
    headings = ["wall", "length_m", "error_m", "error_deg", "seen", "doubled_m", "off_square_deg", "squared", "unsure"]
    rows = [
        [
            str(row["wall"]),
            *(number_cell(float(row[key]), 3) for key in headings[1:7]),
            yes_cell(bool(row["squared"])),
            yes_cell(bool(row["unsure"])),
        ]
        for row in found.rows()
    ]
    return headings, rows
