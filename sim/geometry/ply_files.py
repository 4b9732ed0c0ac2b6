"""PLY files: vertices with x, y and z, and faces that are lists of them, as text or as bytes of either order.

The format as its authors described it (Turk, The PLY Polygon File Format, 1994).  What the head claims is held against
what the file has before anything of that size is made.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from sim.arrays import FloatArray, IntArray
from sim.geometry.mesh_pieces import Piece, chosen_corners, polygon_triangles, refuse_crowds

_TYPES: Final = {
    "char": "i1",
    "uchar": "u1",
    "short": "i2",
    "ushort": "u2",
    "int": "i4",
    "uint": "u4",
    "float": "f4",
    "double": "f8",
    "int8": "i1",
    "uint8": "u1",
    "int16": "i2",
    "uint16": "u2",
    "int32": "i4",
    "uint32": "u4",
    "float32": "f4",
    "float64": "f8",
}
_ORDERS: Final = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_FACE_NAMES: Final = ("vertex_indices", "vertex_index")
LONGEST_HEAD_BYTES: Final = 65_536
MOST_CORNERS: Final = 10_000
"""Of one face."""


@dataclass(frozen=True, slots=True)
class _Property:
    name: str
    kind: str
    counted_by: str
    """Type of the length of a list; empty for a single number."""


@dataclass(frozen=True, slots=True)
class _Element:
    name: str
    count: int
    properties: tuple[_Property, ...]

    def least_size(self, order: str) -> int:
        """Bytes that it takes at least: a list may be empty, and each number of a text takes a character and a gap."""
        if not order:
            return self.count * max(2 * len(self.properties), 1)
        return self.count * sum(np.dtype(each.counted_by or each.kind).itemsize for each in self.properties)


def ply_pieces(content: bytes) -> list[Piece]:
    """Read the faces of a PLY file, which names no groups and no materials.

    Raises ValueError with what was found.
    """
    order, elements, start = _head(content)
    rest = len(content) - start
    for element in elements:
        if element.least_size(order) > rest + 1:
            raise ValueError(f"its head claims {element.count:,} of {element.name!r}, more than the file has room for")
    reader = _Bytes(content, start, order) if order else _Words(content[start:])
    corners, faces = np.zeros((0, 3)), list[IntArray]()
    for element in elements:
        if element.name == "vertex":
            corners = _corners(element, reader)
        elif element.name == "face":
            faces += _faces(element, reader)
        else:
            reader.rows(element, None)
    return [Piece("", "", _triangles(corners, faces))] if faces else []


def _head(content: bytes) -> tuple[str, list[_Element], int]:
    end = content.find(b"end_header", 0, LONGEST_HEAD_BYTES)
    if not content[:3] == b"ply" or end < 0:
        raise ValueError("it is no PLY file, or its head has no end")
    start = content.find(b"\n", end) + 1
    order = None
    elements: list[_Element] = []
    for line in content[:end].decode("latin-1").splitlines()[1:]:
        words = line.split()
        match words:
            case ["format", kind, *_]:
                order = _ORDERS.get(kind)
            case ["element", name, count] if count.isdecimal() and len(count) < 16:
                elements.append(_Element(name, int(count), ()))
            case ["property", "list", counted_by, kind, name] if elements and {counted_by, kind} <= set(_TYPES):
                _add(elements, _Property(name, _TYPES[kind], _TYPES[counted_by]))
            case ["property", kind, name] if elements and kind in _TYPES:
                _add(elements, _Property(name, _TYPES[kind], ""))
            case [] | ["comment" | "obj_info", *_]:
                pass
            case _:
                raise ValueError(f"its head says {line.strip()[:60]!r}")
    if order is None or start == 0:
        raise ValueError("its head does not say how it is written")
    return order, elements, start


def _add(elements: list[_Element], new: _Property) -> None:
    last = elements[-1]
    if any(each.name == new.name for each in last.properties):
        raise ValueError(f"its head names {new.name[:60]!r} twice")
    elements[-1] = _Element(last.name, last.count, (*last.properties, new))


class _Words:
    """Numbers of a text, one after the other."""

    def __init__(self, text: bytes) -> None:
        self.words = text.split()
        self.next = 0

    def rows(self, element: _Element, wanted: str | None) -> list[dict[str, Any]]:
        """Rows of an element; of lists only the wanted one is kept."""
        found = []
        for _ in range(element.count):
            row: dict[str, Any] = {}
            for each in element.properties:
                count = self._take(1)[0] if each.counted_by else 1.0
                if not 0 <= count <= MOST_CORNERS:
                    raise ValueError(f"a list in it has {count:g} entries")
                values = self._take(int(count))
                if not each.counted_by:
                    row[each.name] = values[0]
                elif each.name == wanted:
                    row[each.name] = np.array(values)
            found.append(row)
        return found

    def _take(self, count: int) -> list[float]:
        words = self.words[self.next : self.next + count]
        if len(words) < count:
            raise ValueError("it is cut short")
        self.next += count
        return [float(word) for word in words]


class _Bytes:
    """Numbers as bytes, one after the other."""

    def __init__(self, content: bytes, start: int, order: str) -> None:
        self.content = content
        self.next = start
        self.order = order

    def rows(self, element: _Element, wanted: str | None) -> Any:
        """Rows of an element: an array with named columns where all rows are alike, else a row each."""
        alike = self._alike(element)
        return self._one_by_one(element, wanted) if alike is None else alike

    def _alike(self, element: _Element) -> np.ndarray[Any, Any] | None:
        """All rows at once, when every list has as many entries as it has in the first row."""
        fields: list[tuple[Any, ...]] = []
        place = self.next
        for each in element.properties:
            kind = np.dtype(self.order + each.kind)
            if each.counted_by:
                counter = np.dtype(self.order + each.counted_by)
                count = int(self._number(counter, place)) if element.count else 0
                if not 0 <= count <= MOST_CORNERS:
                    raise ValueError(f"a list in it has {count} entries")
                fields += [(f"{each.name} entries", counter), (each.name, kind, (count,))]
                place += counter.itemsize + count * kind.itemsize
            else:
                fields.append((each.name, kind))
                place += kind.itemsize
        row = np.dtype(fields)
        if element.count * row.itemsize > len(self.content) - self.next:
            if any(each.counted_by for each in element.properties):
                return None
            raise ValueError("it is cut short")
        rows = np.frombuffer(self.content, row, element.count, self.next)
        for each in element.properties:
            if each.counted_by and (rows[f"{each.name} entries"] != rows.dtype[each.name].shape[0]).any():
                return None
        self.next += element.count * row.itemsize
        return rows

    def _one_by_one(self, element: _Element, wanted: str | None) -> list[dict[str, Any]]:
        found = []
        for _ in range(element.count):
            row: dict[str, Any] = {}
            for each in element.properties:
                count = 1
                if each.counted_by:
                    counter = np.dtype(self.order + each.counted_by)
                    count = int(self._number(counter, self.next))
                    self.next += counter.itemsize
                kind = np.dtype(self.order + each.kind)
                if not 0 <= count <= MOST_CORNERS or count * kind.itemsize > len(self.content) - self.next:
                    raise ValueError("it is cut short")
                if each.counted_by and each.name == wanted:
                    row[each.name] = np.frombuffer(self.content, kind, count, self.next)
                self.next += count * kind.itemsize
            found.append(row)
        return found

    def _number(self, kind: np.dtype[Any], place: int) -> float:
        if place + kind.itemsize > len(self.content):
            raise ValueError("it is cut short")
        return float(np.frombuffer(self.content, kind, 1, place)[0])


def _corners(element: _Element, reader: _Words | _Bytes) -> FloatArray:
    single = {each.name for each in element.properties if not each.counted_by}
    if not {"x", "y", "z"} <= single or len(single) < len(element.properties):
        raise ValueError("its vertices have no x, y and z")
    rows = reader.rows(element, None)
    if isinstance(rows, list):
        return np.array([[row["x"], row["y"], row["z"]] for row in rows], dtype=np.float64).reshape(-1, 3)
    with np.errstate(invalid="ignore"):  # what is no number is refused with all other corners
        return np.column_stack([rows["x"], rows["y"], rows["z"]]).astype(np.float64)


def _faces(element: _Element, reader: _Words | _Bytes) -> list[IntArray]:
    """Corner numbers (n, k) of faces with the same number of corners in a row."""
    lists = [each.name for each in element.properties if each.counted_by and each.name in _FACE_NAMES]
    if not lists:
        raise ValueError("its faces have no list vertex_indices")
    rows = reader.rows(element, lists[0])
    if not isinstance(rows, list):
        return [_whole(rows[lists[0]])]
    return [_whole(row[lists[0]])[None] for row in rows]


def _whole(numbers: np.ndarray[Any, Any]) -> IntArray:
    if numbers.dtype.kind == "f" and not (np.isfinite(numbers).all() and (np.abs(numbers) < 2.0**53).all()):
        raise ValueError("its faces name corners by what are no numbers")
    return numbers.astype(np.int64)


def _triangles(corners: FloatArray, faces: list[IntArray]) -> FloatArray:
    refuse_crowds(sum(len(each) * max(each.shape[1] - 2, 0) for each in faces))
    found: list[FloatArray] = []
    for each in faces:
        outlines = chosen_corners(corners, each)
        found += [outlines] if each.shape[1] == 3 else [polygon_triangles(outline) for outline in outlines]
    return np.concatenate(found) if found else np.zeros((0, 3, 3))
