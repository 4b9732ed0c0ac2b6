"""OBJ files: triangles by group and material.

Read here, because the names of groups matter and polygons may have many corners.  Long runs of corners and of triangles
are read at once; whatever is unusual about them is left to the reader of single lines, which says what it cannot read.
"""

from __future__ import annotations

import re
from itertools import groupby
from typing import Final

import numpy as np

from sim.arrays import IntArray
from sim.errors import MeshError
from sim.geometry.mesh_pieces import MOST_TRIANGLES, Piece, polygon_faces

_NO_GROUP: Final = ("", "default", "off", "(null)")
"""Names that exporters write when there is no group."""
SHORT_RUN: Final = 8
"""Runs of fewer lines are read line by line."""
_AFTER_NUMBER: Final = re.compile(r"/\S*")


def obj_pieces(content: bytes, where: str) -> list[Piece]:
    """Read the v, f, o, g and usemtl statements of an OBJ file; the latest o or g names the faces after it.

    Raises MeshError for a line that cannot be read.
    """
    text = content.decode("utf-8-sig", "replace").replace("\r\n", "\n").replace("\\\n", " ")
    read, number = _Obj(), 1
    for start, run in groupby(text.splitlines(), key=lambda line: line[:2]):
        lines = list(run)
        if len(lines) < SHORT_RUN or not read.takes_at_once(start, lines):
            for place, line in enumerate(lines, start=number):
                try:
                    read.take(line)
                except (ValueError, IndexError) as fault:
                    raise MeshError(
                        f"{where}, line {place}",
                        f'"{line.strip()[:60]}" cannot be read ({str(fault)[:60]})',
                        "export the mesh again",
                    ) from fault
                if read.triangles > MOST_TRIANGLES:
                    break
        if read.triangles > MOST_TRIANGLES:
            break
        number += len(lines)
    points = np.array(read.corners, dtype=np.float64).reshape(-1, 3)
    return [Piece(*key, points[np.concatenate(found)]) for key, found in read.faces.items()]


class _Obj:
    """What was read so far: corners, numbers of the corners of triangles by group and material, names in force."""

    def __init__(self) -> None:
        self.corners: list[list[float]] = []
        self.faces: dict[tuple[str, str], list[IntArray]] = {}
        self.triangles = 0
        self._body = self._group = self._material = ""

    def take(self, line: str) -> None:
        """Read one line.  Raises ValueError or IndexError when it cannot be read."""
        keyword, _, rest = line.split("#", 1)[0].strip().partition(" ")
        rest = rest.strip()
        if keyword == "v":
            corner = [float(word) for word in rest.split()[:3]]
            if len(corner) != 3:
                raise ValueError("a corner needs three numbers")
            self.corners.append(corner)
        elif keyword == "f":
            chosen = [_corner_number(word, len(self.corners)) for word in rest.split()]
            outline = np.array([self.corners[index] for index in chosen], dtype=np.float64)
            self._add(np.array(chosen, dtype=np.int64)[polygon_faces(outline)])
        elif keyword == "o":
            self._body, self._group = rest, ""
        elif keyword == "g":
            self._group = rest
        elif keyword == "usemtl":
            self._material = rest

    def takes_at_once(self, start: str, lines: list[str]) -> bool:
        """Read a run of lines that all begin alike, if they are plain corners or triangles; else nothing is read."""
        if start not in ("v ", "f "):
            return False
        together = " ".join(lines)
        words = (_AFTER_NUMBER.sub("", together) if start == "f " and "#" not in together else together).split()
        # as many first words as lines, each fourth: so every line has three numbers, and no comment or other word
        if len(words) != 4 * len(lines) or words[::4] != [start[0]] * len(lines) or words.count(start[0]) != len(lines):
            return False
        try:
            if start == "v ":
                columns = (map(float, words[axis::4]) for axis in (1, 2, 3))
                self.corners += [list(corner) for corner in zip(*columns, strict=True)]
                return True
            numbers = np.array([list(map(int, words[corner::4])) for corner in (1, 2, 3)], dtype=np.int64).T
        except (ValueError, OverflowError):
            return False
        chosen = np.where(numbers > 0, numbers - 1, len(self.corners) + numbers)
        sound = (numbers != 0) & (chosen >= 0) & (chosen < len(self.corners))
        if not sound.all() or self.triangles + len(lines) > MOST_TRIANGLES:
            return False
        self._add(chosen)
        return True

    def _add(self, faces: IntArray) -> None:
        name = self._body if self._group.lower() in _NO_GROUP else self._group
        self.faces.setdefault((name, self._material), []).append(faces)
        self.triangles += len(faces)


def _corner_number(word: str, count: int) -> int:
    number = int(word.split("/")[0])
    index = number - 1 if number > 0 else count + number
    if number == 0 or not 0 <= index < count:
        raise IndexError(f"there is no corner {number}")
    return index
