"""Read the lines of a DXF drawing: lines, polylines, arcs, circles, ellipses and splines, also inside blocks."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

from sim.errors import SceneError
from sim.surveying.drawing.plan_lines import (
    FLAT_FRACTION,
    FLAT_M,
    UNITS_M,
    LayerLines,
    PlanLines,
    file_bytes,
    gathered,
    refuse_crowds,
)

UNIT_OF_CODE: Final = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 14: "dm"}
"""Values of the header's $INSUNITS (DXF reference, header variables); others say nothing, or nothing that is a room."""
DEEPEST: Final = 8
"""Blocks within blocks are followed so far."""
MOST_COPIES: Final = 1000
_BINARY: Final = b"\r\n\x1a\x00"
"""What the 22 bytes that begin a binary DXF end with (DXF reference, binary DXF files)."""
_CURVES: Final = ("ARC", "CIRCLE", "ELLIPSE", "SPLINE")


def read_dxf(path: Path, unit: str = "") -> PlanLines:
    """Read a DXF file.

    Parameters
    ----------
    path
        The file.
    unit
        A name of `UNITS_M`, which goes before what the file says; it decides how finely curves are followed.

    Raises
    ------
    SceneError
        If it cannot be read, is another kind of file, is damaged or empty, or holds more lines than any plan.
    """
    where = path.name
    document = _document(path, file_bytes(path, where), where)
    said = UNIT_OF_CODE.get(int(document.header.get("$INSUNITS", 0) or 0), "")
    layers: dict[str, LayerLines] = {}
    try:
        _read(document.modelspace(), layers, "", UNITS_M.get(unit or said), 0, where)
    except SceneError:
        raise
    except Exception as fault:  # a damaged entity raises whatever the library meets in it
        raise _broken(where, fault) from None
    return gathered(layers, said, where)


def _document(path: Path, content: bytes, where: str) -> Any:
    """The drawing in memory."""
    import ezdxf

    if content[:2] == b"AC" and content[2:6].isdigit():
        raise SceneError(where, "it is a DWG file", "export it as DXF")
    if content[18:22] == _BINARY:
        raise SceneError(where, "it is a binary DXF", "export it as a DXF of text (ASCII)")
    try:
        return ezdxf.readfile(path)  # type: ignore[attr-defined]
    except Exception as fault:  # the library raises many kinds of error over files that are no DXF
        raise _broken(where, fault) from None


def _broken(where: str, fault: Exception) -> SceneError:
    reason = str(fault).strip().partition("\n")[0].rstrip(".")[:100]
    detail = f" ({reason})" if reason and not isinstance(fault, KeyError | IndexError | AttributeError) else ""
    return SceneError(where, f"it is no DXF, or a damaged one{detail}", "export the plan again as DXF")


def _read(
    entities: Iterable[Any], layers: dict[str, LayerLines], inside: str, unit_m: float | None, depth: int, where: str
) -> None:
    """Add entities to their layers; those on layer "0" of a block belong to the layer that the block is on."""
    for entity in entities:
        name = str(entity.dxf.get("layer", "0"))
        name = inside if inside and name == "0" else name
        layer = layers.setdefault(name, LayerLines())
        kind = entity.dxftype()
        if kind == "LINE":
            layer.add([entity.dxf.start, entity.dxf.end])
        elif kind == "LWPOLYLINE" or (kind == "POLYLINE" and (entity.is_2d_polyline or entity.is_3d_polyline)):
            _add_polyline(entity, layer, unit_m)
        elif kind in _CURVES:
            layer.curves += 1
            layer.add(list(entity.flattening(_flatness(entity, unit_m))))
        elif kind == "INSERT" and depth < DEEPEST and entity.block() is not None:
            copies = entity.multi_insert() if 1 < entity.mcount <= MOST_COPIES else [entity]
            for copy in copies:
                _read(copy.virtual_entities(), layers, name, unit_m, depth + 1, where)
        else:
            layer.left_out += 1
        if len(layer.lines) % 1000 == 999:
            refuse_crowds(layers.values(), where)
    if depth == 0:
        refuse_crowds(layers.values(), where)


def _add_polyline(entity: Any, layer: LayerLines, unit_m: float | None) -> None:
    """Add a polyline; its arcs are flattened, its straight pieces are taken as they are."""
    curved = False
    for piece in entity.virtual_entities():
        if piece.dxftype() == "LINE":
            layer.add([piece.dxf.start, piece.dxf.end])
        elif piece.dxftype() == "ARC":
            points = [(point.x, point.y) for point in piece.flattening(_flatness(piece, unit_m))]
            layer.add(points)
            curved = True
    layer.curves += curved


def _flatness(entity: Any, unit_m: float | None) -> float:
    """How far straight lines may be from a curve, in units of the drawing."""
    if unit_m is not None:
        return FLAT_M / unit_m
    kind = entity.dxftype()
    if kind == "SPLINE":
        points = [*entity.control_points, *entity.fit_points]
        sizes = [max(p[axis] for p in points) - min(p[axis] for p in points) for axis in (0, 1)] if points else [1.0]
        return max(FLAT_FRACTION * max(sizes), 1e-12)
    radius = entity.dxf.major_axis.magnitude if kind == "ELLIPSE" else entity.dxf.radius
    return max(FLAT_FRACTION * float(radius), 1e-12)
