"""What is no scan of a room: one sentence each, with where, what and what would work."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from sim.errors import MeshError
from sim.surveying.scan.survey import scan
from tests.builders.flat_scans import (
    box_room,
    box_squares,
    loose,
    outdoors,
    room_squares,
    shaken,
    two_rooms,
    write_shaken,
)
from tests.builders.scan_walk import write_ply

EMPTY_PLY = (
    b"ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\n"
    b"element face 0\nproperty list uchar int vertex_indices\nend_header\n"
)


def with_a_gap_in_the_numbers(place: Path) -> Path:
    made = shaken(room_squares(box_room()))
    made.corners[7, 1] = np.nan
    return write_ply(made, place / "nan.ply")


def cut_short(place: Path) -> Path:
    path = write_shaken(room_squares(box_room()), place / "cut.ply")
    path.write_bytes(path.read_bytes()[:50_000])
    return path


def written(name: str, content: bytes) -> Callable[[Path], Path]:
    def write(place: Path) -> Path:
        (place / name).write_bytes(content)
        return place / name

    return write


def a_box(*sizes: float) -> Callable[[Path], Path]:
    return lambda place: write_shaken(box_squares(np.zeros(3), np.array(sizes)), place / "thing.ply")


def without_its_ceiling(place: Path) -> Path:
    triangles = room_squares(box_room())
    return write_shaken(triangles[triangles.mean(axis=1)[:, 2] < 2.49], place / "open.ply")


NO_ROOM: dict[str, tuple[Callable[[Path], Path], str]] = {
    "empty": (written("empty.ply", EMPTY_PLY), "the scan is empty"),
    "an empty text": (written("empty.obj", b""), "the scan is empty"),
    "a chest": (a_box(1.2, 0.6, 0.9), "an object"),
    "a wardrobe": (a_box(1.8, 0.6, 2.1), "an object"),
    "a van": (a_box(5.2, 2.0, 2.3), "an object seen from outside"),
    "two rooms": (lambda place: write_shaken(room_squares(two_rooms()), place / "two.ply"), "there are 2 rooms in it"),
    "outdoors": (lambda place: write_shaken(outdoors(), place / "garden.ply"), "outdoors"),
    "no ceiling": (without_its_ceiling, "scan the ceiling too"),
    "loose triangles": (lambda place: write_ply(loose(200_000), place / "loose.ply"), "its triangles are loose"),
    "loose points": (lambda place: write_ply(loose(60_000), place / "l.ply", faces=False), "are loose"),
    "no numbers": (with_a_gap_in_the_numbers, "corners are not finite numbers"),
    "cut short": (cut_short, "cannot be read"),
    "another kind of file": (written("room.glb", b"\x00\x01garbage" * 200), "cannot be read"),
    "another ending": (written("room.stl", b"solid"), "are not read as scans"),
    "no file": (lambda place: place / "nothing.ply", "there is no such file"),
    "a drawn model": (
        written("drawn.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"),
        "a drawn model, no scan",
    ),
    "triangles without area": (
        written("flat.obj", b"v 0 0 0\nv 1 0 0\nv 2 0 0\n" + b"f 1 2 3\n" * 400),
        "none of its triangles has an area",
    ),
    "a whole street": (
        lambda place: write_shaken(box_squares(np.zeros(3), np.array([40.0, 36.0, 2.6]), 0.4), place / "street.ply"),
        "outdoors, a whole house, or another unit",
    ),
}


@pytest.mark.parametrize("case", NO_ROOM)
def test_one_sentence_says_what_is_wrong(case: str, tmp_path: Path) -> None:
    write, sentence = NO_ROOM[case]
    path = write(tmp_path)
    with pytest.raises(MeshError, match=sentence) as told:
        scan(path)
    assert str(told.value).startswith(path.name)
    assert str(told.value).count(". ") == 0
