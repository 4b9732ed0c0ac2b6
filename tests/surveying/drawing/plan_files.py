"""Plan drawings of invented rooms, written with a DXF library or by hand: what the reader is held against."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import ezdxf

L_ROOM = [(0.0, 0.0), (5.2, 0.0), (5.2, 2.6), (3.6, 2.6), (3.6, 4.4), (0.0, 4.4)]
"""Corners of an L-shape in metres, to the right and up; 20.0 m2: 5.2 x 4.4 less 1.6 x 1.8."""
L_AREA_M2 = 5.2 * 4.4 - 1.6 * 1.8


def new_drawing(code: int = 4) -> Any:
    """An empty drawing with $INSUNITS set: 4 millimetres, 6 metres, 7 kilometres, 0 unknown (DXF reference)."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = code
    return document


def as_lines(document: Any, corners: Sequence[tuple[float, float]], layer: str, scale: float = 1000.0) -> None:
    """Draw a closed outline as single lines."""
    for (a, b), (c, d) in zip(corners, [*corners[1:], corners[0]], strict=True):
        document.modelspace().add_line((a * scale, b * scale), (c * scale, d * scale), dxfattribs={"layer": layer})


def as_polyline(document: Any, corners: Sequence[tuple[float, float]], layer: str, scale: float = 1000.0) -> None:
    """Draw a closed outline as one polyline."""
    places = [(x * scale, y * scale) for x, y in corners]
    document.modelspace().add_lwpolyline(places, close=True, dxfattribs={"layer": layer})


def saved(document: Any, place: Path) -> Path:
    document.saveas(place)
    return place


def l_room(place: Path) -> Path:
    """The L-shape on WALLS in millimetres, the building round it on OUTSIDE, a word on TEXT."""
    document = new_drawing()
    as_lines(document, L_ROOM, "WALLS")
    as_polyline(document, [(-0.3, -0.3), (9.0, -0.3), (9.0, 6.0), (-0.3, 6.0)], "OUTSIDE")
    document.modelspace().add_text("room", dxfattribs={"layer": "TEXT"})
    return saved(document, place)
