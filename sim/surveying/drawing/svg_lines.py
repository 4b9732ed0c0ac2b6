"""Read the lines of an SVG drawing: lines, rectangles, polygons and paths of straight pieces, with their transforms.

Layers are the outermost named groups.  Entities are refused and nothing outside the file is ever read.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from xml.parsers import expat

import numpy as np

from sim.arrays import FloatArray
from sim.errors import SceneError
from sim.surveying.drawing.plan_lines import LayerLines, PlanLines, file_bytes, gathered, refuse_crowds

UNNAMED: Final = "drawing"
"""Layer of what stands in no named group."""
HIDDEN: Final = {"defs", "symbol", "clipPath", "mask", "marker", "pattern", "style", "metadata"}
NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_TOKEN: Final = re.compile(rf"[A-Za-z]|{NUMBER}")
_TRANSFORM: Final = re.compile(r"(\w+)\s*\(([^)]*)\)")
_LENGTH: Final = re.compile(rf"\s*({NUMBER})\s*(mm|cm|in|m)?\s*\Z")
_STEPS: Final = {"M": 2, "L": 2, "H": 1, "V": 1, "Z": 0}


class _RefusedError(Exception):
    """Something in the file that is not read."""


@dataclass(slots=True)
class _Reading:
    """Where in the file one is: layers so far, and for each open element its transform, its layer, whether it shows."""

    layers: dict[str, LayerLines] = field(default_factory=dict)
    open: list[tuple[FloatArray, str, bool]] = field(default_factory=lambda: [(np.eye(3), "", True)])
    unit: str = ""
    is_svg: bool = False

    def start(self, tag: str, given: dict[str, str]) -> None:
        """Enter an element."""
        name = tag.rpartition(":")[2]
        matrix, layer, shown = self.open[-1]
        if len(self.open) == 1:
            self.is_svg = name == "svg"
            self.unit = _unit(given)
        matrix = matrix @ _matrix(given.get("transform", ""))
        if name == "g" and not layer:
            labels = [value for key, value in given.items() if key.rpartition(":")[2] == "label"]
            layer = (labels or [given.get("id", "")])[0]
        shown = shown and name not in HIDDEN and "display:none" not in given.get("style", "").replace(" ", "")
        shown = shown and given.get("display") != "none"
        self.open.append((matrix, layer, shown))
        if shown:
            self._shape(name, given, matrix, layer or UNNAMED)

    def end(self, _: str) -> None:
        """Leave it."""
        self.open.pop()

    def _shape(self, name: str, given: dict[str, str], matrix: FloatArray, layer: str) -> None:
        def value(key: str) -> float:
            return float(given.get(key, "0").removesuffix("px"))

        lines: list[tuple[list[tuple[float, float]], bool]] = []
        if name == "line":
            lines = [([(value("x1"), value("y1")), (value("x2"), value("y2"))], False)]
        elif name == "rect":
            x, y, w, h = (value(key) for key in ("x", "y", "width", "height"))
            lines = [([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], True)]
        elif name in ("polyline", "polygon"):
            numbers = [float(each) for each in re.findall(NUMBER, given.get("points", ""))]
            lines = [(list(zip(numbers[::2], numbers[1::2], strict=False)), name == "polygon")]
        elif name == "path":
            found = straight_pieces(given.get("d", ""))
            if found is None:
                self.layers.setdefault(layer, LayerLines()).left_out += 1
                return
            lines = found
        elif name in ("circle", "ellipse", "text", "image", "use"):
            self.layers.setdefault(layer, LayerLines()).left_out += 1
        for points, closed in lines:
            flat = np.column_stack([np.array(points).reshape(-1, 2), np.ones(len(points))]) @ matrix.T
            # y runs down in this format and up in ours
            self.layers.setdefault(layer, LayerLines()).add(flat[:, :2] * np.array([1.0, -1.0]), closed=closed)


def read_svg(path: Path, unit: str = "") -> PlanLines:
    """Read an SVG file; `unit` is not needed, since curves are left out.

    Raises
    ------
    SceneError
        If it cannot be read, is damaged or empty, or has entities.
    """
    where = path.name
    content = file_bytes(path, where)
    reading = _Reading()
    parser = expat.ParserCreate()
    parser.StartElementHandler = reading.start
    parser.EndElementHandler = reading.end
    parser.EntityDeclHandler = _refuse_entity
    try:
        with np.errstate(over="ignore", invalid="ignore"):  # numbers beyond all measure are refused with the rest
            parser.Parse(content, True)
    except _RefusedError:
        raise SceneError(where, "it declares entities, which are not read", "export it as plain SVG") from None
    except (expat.ExpatError, ValueError, OverflowError) as fault:
        raise SceneError(where, f"it is no SVG, or a damaged one ({fault})", "export the plan again as SVG") from None
    if not reading.is_svg:
        raise SceneError(where, "it is XML, but no SVG", "export the plan as SVG or DXF")
    refuse_crowds(reading.layers.values(), where)
    return gathered(reading.layers, reading.unit, where)


def _refuse_entity(*_: object) -> None:
    raise _RefusedError


def straight_pieces(data: str) -> list[tuple[list[tuple[float, float]], bool]] | None:
    """Points and whether closed of each piece of path data (SVG 1.1, 8.3); None where any of it is curved."""
    tokens = _TOKEN.findall(data)
    pieces: list[tuple[list[tuple[float, float]], bool]] = []
    x = y = 0.0
    command, at = "", 0
    while at < len(tokens):
        if tokens[at].isalpha():
            command, at = tokens[at], at + 1
        count = _STEPS.get(command.upper())
        if count is None:
            return None
        if count == 0:
            if pieces:
                pieces[-1] = (pieces[-1][0], True)
                x, y = pieces[-1][0][0]
            command = ""
            continue
        numbers = [float(token) for token in tokens[at : at + count]]
        if len(numbers) < count:
            raise ValueError("path data end in the middle of a point")
        at += count
        from_x, from_y = (x, y) if command.islower() else (0.0, 0.0)
        if command.upper() == "H":
            x = from_x + numbers[0]
        elif command.upper() == "V":
            y = from_y + numbers[0]
        else:
            x, y = from_x + numbers[0], from_y + numbers[1]
        if command.upper() == "M":
            pieces.append(([(x, y)], False))
            command = "l" if command == "m" else "L"
        elif not pieces:
            raise ValueError("path data begin without a place to move to")
        elif pieces[-1][1]:
            pieces.append(([pieces[-1][0][0], (x, y)], False))
        else:
            pieces[-1][0].append((x, y))
    return pieces


def _matrix(text: str) -> FloatArray:
    """The matrix (3, 3) of a transform attribute (SVG 1.1, 7.6)."""
    whole = np.eye(3)
    for name, inside in _TRANSFORM.findall(text):
        v = [float(each) for each in re.findall(NUMBER, inside)]
        if name == "matrix" and len(v) == 6:
            step = np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]], [0.0, 0.0, 1.0]])
        elif name == "translate" and v:
            step = np.array([[1.0, 0.0, v[0]], [0.0, 1.0, v[1] if len(v) > 1 else 0.0], [0.0, 0.0, 1.0]])
        elif name == "scale" and v:
            step = np.diag([v[0], v[1] if len(v) > 1 else v[0], 1.0])
        elif name == "rotate" and v:
            turn, (x, y) = math.radians(v[0]), (v[1], v[2]) if len(v) > 2 else (0.0, 0.0)
            c, s = math.cos(turn), math.sin(turn)
            step = np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0.0, 0.0, 1.0]])
        else:
            raise ValueError(f'a transform "{name}" that is not read')
        whole = whole @ step
    return whole


def _unit(given: dict[str, str]) -> str:
    """The unit when one of the drawing's own is one of ours: its width, in millimetres say, against its view box."""
    width = _LENGTH.match(given.get("width", ""))
    box = [float(each) for each in re.findall(NUMBER, given.get("viewBox", ""))]
    if width is None or width[2] is None or len(box) != 4 or box[2] <= 0.0:
        return ""
    return width[2] if abs(float(width[1]) / box[2] - 1.0) < 1e-6 else ""
