"""Scans of invented rooms held against the rooms: `python -m tests.builders.scan_report [ROOMS] [-o TABLE]`.

Each room is scanned by `scan_walk` with noise of 1 to 3 cm, a drift of 0.5 % of the way walked and holes, written in
another axis, unit and format, and recovered by `bounceplan scan`.  One distance, from the left wall to the
right one, is given by tape to 5 mm.  Walls are compared after the best rigid fit: where the phone's zero lies is
nobody's concern.  First reflections of both monitors at the ear, whose places stand in the
scene that was written, are worked out by the mirror formula for the true planes and for those found.
"""

from __future__ import annotations

import argparse
import math
import time
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from sim.errors import BounceplanError
from sim.surveying.scan.records import ScannedRoom
from sim.surveying.scan.survey import scan
from tests.builders.scan_walk import Scan, Walk, scanned, write_glb, write_obj, write_ply
from tests.builders.scanned_rooms import Array, InventedRoom, invented_rooms

NOISE_M = (0.01, 0.015, 0.02, 0.03)
UNIT_M = {"m": 1.0, "mm": 0.001, "cm": 0.01, "in": 0.0254, "ft": 0.3048}
UPS = ("+z", "+y", "+z", "+x")
FORMATS = ("mesh.ply", "obj", "glb", "points.ply")
WALL_M, WALL_DEG, POINT_M = 0.02, 0.5, 0.05


@dataclass
class Verdict:
    """One room: errors of walls, of the ceiling, and of first reflection points, in metres and degrees."""

    name: str
    trouble: str = ""
    wall_m: list[float] = field(default_factory=list)
    wall_deg: list[float] = field(default_factory=list)
    missing: int = 0
    extra: int = 0
    height_m: float = math.nan
    slopes: list[tuple[float, float]] = field(default_factory=list)
    points_m: list[float] = field(default_factory=list)
    unsure_m: list[float] = field(default_factory=list)
    lost: int = 0
    said: list[float] = field(default_factory=list)
    seconds: float = 0.0
    away_95_m: float = math.nan
    untaped_m: list[float] = field(default_factory=list)

    @property
    def good(self) -> bool:
        walls = not self.missing and not self.extra and max(self.wall_m) <= WALL_M and max(self.wall_deg) <= WALL_DEG
        return not self.trouble and walls and self.points_good

    @property
    def points_good(self) -> bool:
        return not self.trouble and not self.lost and max(self.points_m, default=0.0) <= POINT_M


def written(room: InventedRoom, number: int, folder: Path, pictures: int = 48) -> tuple[Scan, Path, float]:
    """Scan a room and write it, noise, axes, unit and format in turn; returns the scan, its file and the noise."""
    noise = NOISE_M[number % len(NOISE_M)]
    kind = FORMATS[(number // 2) % len(FORMATS)]
    up = "+y" if kind == "glb" else UPS[(number // 3) % len(UPS)]
    unit = 1.0 if kind == "glb" else list(UNIT_M.values())[(number // 5) % len(UNIT_M)]
    walk = Walk(noise_m=noise, seed=100 + number, pictures=pictures)
    found = scanned(room, walk, yaw_deg=37.0 * number % 360.0, up=up, unit_m=unit)
    path = folder / f"room{number}.{kind.split('.')[-1]}"
    if kind == "obj":
        write_obj(found, path)
    elif kind == "glb":
        write_glb(found, path)
    else:
        write_ply(found, path, faces=kind == "mesh.ply")
    return found, path, noise


def judged(room: InventedRoom, made: Scan, found: ScannedRoom) -> Verdict:
    """Hold what was found against the room."""
    verdict = Verdict(room.name, away_95_m=found.away_95_m)
    placed = _placed(room, made, found)
    fit, pairs = _fitted(room, placed, found)
    true = placed @ fit[:, :2].T + fit[:, 2]
    verdict.extra = len(found.walls) - len({index for index in pairs if index is not None})
    for number, index in enumerate(pairs):
        if index is None:
            verdict.missing += 1
            continue
        start, end = true[number], true[(number + 1) % len(true)]
        wall = found.walls[index]
        verdict.wall_m.append(abs(float((0.5 * (start + end) - wall.start_m) @ wall.outward)))
        verdict.wall_deg.append(_degrees(start, end, wall.outward))
        verdict.said.append(wall.error_m)
    verdict.height_m = abs(found.height_m - _highest(room))
    for wall_number, knee, angle in room.slopes:
        index = pairs[wall_number]
        same = [] if index is None else [each for each in found.slopes if each.wall == found.walls[index].name]
        verdict.slopes.append((abs(same[0].knee_m - knee), abs(same[0].angle_deg - angle)) if same else (9.9, 90.0))
    _reflections(verdict, room, true, found, pairs)
    return verdict


def _placed(room: InventedRoom, made: Scan, found: ScannedRoom) -> Array:
    """True corners (n, 2) in the scene: turned and shifted, never scaled by what a tape made of the scan."""
    flat = np.column_stack([room.corners, np.zeros(len(room.corners))])
    return ((flat @ made.turn.T + made.shift) @ found.turn.T / found.factor + found.shift_m)[:, :2]


def _degrees(start: Array, end: Array, outward: Array) -> float:
    along = (end - start) / np.linalg.norm(end - start)
    return abs(math.degrees(math.asin(max(-1.0, min(1.0, float(along @ outward))))))


def _highest(room: InventedRoom) -> float:
    low, high = room.corners.min(axis=0), room.corners.max(axis=0)
    grid = np.stack(np.meshgrid(*(np.linspace(low[k], high[k], 301) for k in range(2))), axis=-1).reshape(-1, 2)
    return float(_tops(room, grid).max())


def _tops(room: InventedRoom, plan: Array) -> Array:
    return np.min([(constant - plan @ normal[:2]) / normal[2] for normal, constant in room.ceilings()], axis=0)


def _fitted(room: InventedRoom, corners: Array, found: ScannedRoom) -> tuple[Array, list[int | None]]:
    """Turn and shift (2, 3) of true corners that fits the found walls best, and which wall is which."""
    fit = np.hstack([np.eye(2), np.zeros((2, 1))])
    pairs: list[int | None] = [None] * len(corners)
    for _ in range(3):
        true = corners @ fit[:, :2].T + fit[:, 2]
        following = np.roll(true, -1, axis=0)
        rows, values = [], []
        for number, (start, end) in enumerate(zip(true, following, strict=True)):
            pairs[number] = _same(start, end, found)
            if pairs[number] is None:
                continue
            wall = found.walls[pairs[number]]  # type: ignore[index]
            for place in (0.25, 0.75):
                point = start + place * (end - start)
                rows.append([*wall.outward, float(wall.outward @ [-point[1], point[0]])])
                values.append(-float((point - wall.start_m) @ wall.outward))
        if len(rows) < 3:
            break
        ahead, across, turned = np.linalg.lstsq(np.array(rows), np.array(values), rcond=None)[0]
        turn = np.array([[math.cos(turned), -math.sin(turned)], [math.sin(turned), math.cos(turned)]])
        fit = np.column_stack([turn @ fit[:, :2], turn @ fit[:, 2] + [ahead, across]])
    return fit, pairs


def _same(start: Array, end: Array, found: ScannedRoom) -> int | None:
    """The found wall that lies along a true one: least far of those that overlap half of it."""
    best, least = None, 0.3
    along = (end - start) / np.linalg.norm(end - start)
    for index, wall in enumerate(found.walls):
        if float(wall.outward @ [along[1], -along[0]]) < math.cos(math.radians(12.0)):
            continue
        reach = sorted(((np.array(wall.start_m) - start) @ along, (np.array(wall.end_m) - start) @ along))
        overlap = min(reach[1], float(np.linalg.norm(end - start))) - max(reach[0], 0.0)
        away = abs(float((0.5 * (start + end) - wall.start_m) @ wall.outward))
        if overlap > 0.5 * min(float(np.linalg.norm(end - start)), wall.length_m) and away < least:
            best, least = index, away
    return best


# First reflections by the mirror formula, on the true planes and on those found.


def _reflections(
    verdict: Verdict, room: InventedRoom, true: Array, found: ScannedRoom, pairs: list[int | None]
) -> None:
    scene = tomllib.loads(found.text)
    keys = ("from_front", "from_left", "up")
    ear = np.array([scene["listener"]["ear"][key] for key in keys])
    moved = InventedRoom(room.name, true, room.height, room.slopes)
    for loudspeaker in scene["loudspeakers"]:
        source = np.array([loudspeaker["acoustic_axis"][key] for key in keys])
        for kind, number, normal, constant in _planes(moved):
            point = _mirrored(source, ear, normal, constant)
            if point is None or not _on(moved, kind, number, point):
                continue
            plane, unsure = _found_plane(found, kind, pairs, number, room)
            other = None if plane is None else _mirrored(source, ear, *plane)
            if other is None:
                verdict.lost += 1
                continue
            away = float(np.linalg.norm(other - point))
            (verdict.unsure_m if unsure else verdict.points_m).append(away)


def _planes(room: InventedRoom) -> list[tuple[str, int, Array, float]]:
    planes: list[tuple[str, int, Array, float]] = [("floor", 0, np.array([0.0, 0.0, -1.0]), 0.0)]
    for number, (start, _) in enumerate(room.walls):
        normal = np.array([*-room.inward(number), 0.0])
        planes.append(("wall", number, normal, float(normal[:2] @ start)))
    for number, (normal, constant) in enumerate(room.ceilings()):
        planes.append(("ceiling", number, normal, constant))
    return planes


def _mirrored(source: Array, ear: Array, normal: Array, constant: float) -> Array | None:
    """Where the path from source to ear strikes a plane; None when they are not both before it."""
    one, two = constant - float(normal @ source), constant - float(normal @ ear)
    if one <= 0.0 or two <= 0.0:
        return None
    image = source + 2.0 * one * normal
    return ear + (image - ear) * two / (one + two)


def _on(room: InventedRoom, kind: str, number: int, point: Array) -> bool:
    if kind == "wall":
        start, end = room.walls[number]
        part = float((point[:2] - start) @ (end - start)) / float((end - start) @ (end - start))
        return 0.0 <= part <= 1.0 and 0.0 <= point[2] <= float(_tops(room, point[None, :2])[0])
    if not room.inside(point[None, :2])[0]:
        return False
    return kind == "floor" or point[2] <= float(_tops(room, point[None, :2])[0]) + 1e-9


def _found_plane(
    found: ScannedRoom, kind: str, pairs: list[int | None], number: int, room: InventedRoom
) -> tuple[tuple[Array, float] | None, bool]:
    """The found plane for a true one, and whether it was reported as unsure."""
    if kind == "floor":
        return (np.array([0.0, 0.0, -1.0]), 0.0), False
    if kind == "wall":
        index = pairs[number]
        if index is None:
            return None, False
        wall = found.walls[index]
        normal = np.array([*wall.outward, 0.0])
        return (normal, float(normal[:2] @ wall.start_m)), wall.unsure
    if number == 0:
        return ((np.array([0.0, 0.0, 1.0]), found.height_m), False) if found.flat else (None, False)
    index = pairs[room.slopes[number - 1][0]]
    same = [] if index is None else [each for each in found.slopes if each.wall == found.walls[index].name]
    if not same or index is None:
        return None, False
    wall, rise = found.walls[index], math.tan(math.radians(same[0].angle_deg))
    normal = np.array([rise * wall.outward[0], rise * wall.outward[1], 1.0])
    constant = same[0].knee_m + float(normal[:2] @ wall.start_m)
    size = float(np.linalg.norm(normal))
    return (normal / size, constant / size), wall.unsure and same[0].error_m > 0.02


def one_room(room: InventedRoom, number: int, folder: Path, pictures: int = 48) -> Verdict:
    """Scan, recover and judge one room."""
    made, path, noise = written(room, number, folder, pictures)
    start = time.perf_counter()
    name = f"{room.name}, {100.0 * noise:g} cm, {path.suffix[1:]}"
    try:
        found = scan(path)
        untaped = judged(room, made, found)
        width = float(np.round(_width(room, made, found) / 0.005) * 0.005)
        if width > 0.0:
            found = scan(path, tape=[("left wall to right wall", width)])
    except BounceplanError as fault:
        return Verdict(name, trouble=str(fault), seconds=time.perf_counter() - start)
    seconds = (time.perf_counter() - start) / 2.0
    verdict = judged(room, made, found)
    verdict.name, verdict.seconds = name, seconds
    verdict.untaped_m = untaped.wall_m
    return verdict


def _width(room: InventedRoom, made: Scan, found: ScannedRoom) -> float:
    """What a tape would say between the walls that were called left and right; 0 when there is none of them."""
    names = [wall.name for wall in found.walls]
    placed = _placed(room, made, found)
    _, pairs = _fitted(room, placed, found)
    if not {"left wall", "right wall"} <= set(names):
        return 0.0
    left, right = (
        next((k for k, p in enumerate(pairs) if p == names.index(n)), None) for n in ("left wall", "right wall")
    )
    if left is None or right is None:
        return 0.0
    middle = np.mean(room.walls[left], axis=0)
    return float((middle - room.walls[right][0]) @ room.inward(right))


HEADINGS = (
    "| room, noise, file | walls, worst cm | worst deg | missing, extra | ceiling, cm | slopes, worst cm, deg "
    "| points, worst cm | lost | away 95 %, cm | s |"
)


def row(verdict: Verdict) -> str:
    if verdict.trouble:
        return f"| {verdict.name} | refused: {verdict.trouble} |"
    slopes = (
        ", ".join(
            f"{100.0 * max(s[k] for s in verdict.slopes) if k == 0 else max(s[k] for s in verdict.slopes):.1f}"
            for k in range(2)
        )
        if verdict.slopes
        else ""
    )
    return (
        f"| {verdict.name} | {100.0 * max(verdict.wall_m):.1f} | {max(verdict.wall_deg):.2f} "
        f"| {verdict.missing}, {verdict.extra} | {100.0 * verdict.height_m:.1f} | {slopes} "
        f"| {100.0 * max(verdict.points_m, default=0.0):.1f} | {verdict.lost} | {100.0 * verdict.away_95_m:.1f} "
        f"| {verdict.seconds:.0f} |"
    )


def summary(verdicts: list[Verdict]) -> list[str]:
    """The figures that stand in the documentation."""
    done = [verdict for verdict in verdicts if not verdict.trouble]
    walls = np.array([value for verdict in done for value in verdict.wall_m])
    turned = np.array([value for verdict in done for value in verdict.wall_deg])
    points = np.array([value for verdict in done for value in verdict.points_m])
    untaped = np.array([value for verdict in done for value in verdict.untaped_m])
    said = np.array([value for verdict in done for value in verdict.said])
    unsure = sum(len(verdict.unsure_m) for verdict in done)
    return [
        f"{len(done)} of {len(verdicts)} rooms recovered; {sum(v.good for v in done)} meet all targets",
        f"walls: {len(walls)} found, {sum(v.missing for v in done)} missing, {sum(v.extra for v in done)} extra; "
        f"within 2 cm {np.mean(walls <= WALL_M):.0%}, within 0.5 degrees {np.mean(turned <= WALL_DEG):.0%}; 95 % "
        f"within {100.0 * np.quantile(walls, 0.95):.1f} cm and {np.quantile(turned, 0.95):.2f} degrees; worst "
        f"{100.0 * walls.max():.1f} cm, {turned.max():.2f} degrees",
        f"without the tape: walls within 2 cm {np.mean(untaped <= WALL_M):.0%}, worst {100.0 * untaped.max():.1f} cm",
        f"wall errors over what was said of them: {np.sqrt(np.mean((walls / said) ** 2)):.1f} (1 is honest)",
        f"first reflection points: {len(points)} found, within 5 cm {np.mean(points <= POINT_M):.0%}, 95 % within "
        f"{100.0 * np.quantile(points, 0.95):.1f} cm, worst {100.0 * points.max():.1f} cm; {unsure} more reported "
        f"unsure, {sum(v.lost for v in done)} lost",
        f"rooms with all points within 5 cm: {sum(v.points_good for v in done)} of {len(verdicts)}",
    ]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("rooms", type=int, nargs="?", default=50)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("-o", type=Path)
    chosen = parser.parse_args()
    verdicts, lines = [], [HEADINGS]
    with TemporaryDirectory() as folder:
        for number, room in list(enumerate(invented_rooms(chosen.rooms)))[chosen.first :]:
            verdicts.append(one_room(room, number, Path(folder)))
            lines.append(row(verdicts[-1]))
            print(lines[-1], flush=True)  # noqa: T201
            for file in Path(folder).iterdir():
                file.unlink()
    lines += ["", *summary(verdicts)]
    print("\n".join(lines[-7:]))  # noqa: T201
    if chosen.o:
        chosen.o.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
