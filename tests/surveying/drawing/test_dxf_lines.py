"""DXF drawings of invented rooms, read back: every kind of line, units, blocks, and files that are none."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from sim.errors import SceneError
from sim.surveying.drawing import plan_lines
from sim.surveying.drawing.closing import closed_outlines
from sim.surveying.drawing.dxf_lines import read_dxf
from sim.surveying.drawing.plan_lines import FLAT_M
from tests.surveying.drawing.plan_files import L_ROOM, as_polyline, l_room, new_drawing, saved


def test_layers_come_with_their_lines_and_lengths(tmp_path: Path) -> None:
    drawing = read_dxf(l_room(tmp_path / "flat.dxf"))
    assert drawing.unit == "mm"
    assert [layer.name for layer in drawing.layers] == ["OUTSIDE", "WALLS", "TEXT"]
    assert [len(layer.lines) for layer in drawing.layers] == [4, 6, 0]
    assert [layer.length for layer in drawing.layers[:2]] == pytest.approx([2.0 * (9300.0 + 6300.0), 19_200.0])
    assert drawing.layers[2].left_out == 1


@pytest.mark.parametrize(("code", "unit"), [(0, ""), (1, "in"), (2, "ft"), (4, "mm"), (5, "cm"), (6, "m"), (7, "km")])
def test_the_unit_is_that_of_the_header(code: int, unit: str, tmp_path: Path) -> None:
    document = new_drawing(code)
    as_polyline(document, L_ROOM, "WALLS", 1.0)
    assert read_dxf(saved(document, tmp_path / "flat.dxf")).unit == unit


@pytest.mark.parametrize("kind", ["arc", "bulge", "circle", "ellipse"])
def test_curves_are_followed_within_what_is_said(kind: str, tmp_path: Path) -> None:
    """A half circle of 2 m: no line is further from it than 2 mm, and none has an end off it."""
    document = new_drawing(6)
    space = document.modelspace()
    if kind == "arc":
        space.add_arc((1.0, 2.0), 2.0, 0.0, 180.0)
    elif kind == "bulge":
        space.add_lwpolyline([(3.0, 2.0, 1.0), (-1.0, 2.0, 0.0)], format="xyb")
    elif kind == "circle":
        space.add_circle((1.0, 2.0), 2.0)
    else:
        space.add_ellipse((1.0, 2.0), (2.0, 0.0), 1.0)
    layer = read_dxf(saved(document, tmp_path / "curve.dxf")).layers[0]
    assert layer.curves == 1
    away = np.linalg.norm(layer.lines - np.array([1.0, 2.0]), axis=2)
    np.testing.assert_allclose(away, 2.0, atol=1e-6)
    sagitta = 2.0 - np.linalg.norm(layer.lines.mean(axis=1) - np.array([1.0, 2.0]), axis=1)
    assert 0.1 * FLAT_M < sagitta.max() <= FLAT_M
    whole = 2.0 if kind in ("circle", "ellipse") else 1.0
    assert layer.length == pytest.approx(whole * math.pi * 2.0, rel=2e-3)


def test_blocks_are_read_where_they_stand(tmp_path: Path) -> None:
    """A block turned a quarter and moved; what lies on its layer 0 belongs to the layer that it is put on."""
    document = new_drawing(6)
    block = document.blocks.new("ROOM")
    block.add_lwpolyline(L_ROOM, close=True, dxfattribs={"layer": "0"})
    block.add_line((0.0, 0.0), (1.0, 0.0), dxfattribs={"layer": "OWN"})
    document.modelspace().add_blockref("ROOM", (10.0, 20.0), dxfattribs={"rotation": 90.0, "layer": "WALLS"})
    drawing = read_dxf(saved(document, tmp_path / "flat.dxf"))
    assert [layer.name for layer in drawing.layers] == ["WALLS", "OWN"]
    (outline,) = closed_outlines(drawing.layers[0].lines).outlines
    expected = np.array([(10.0 - y, 20.0 + x) for x, y in L_ROOM])
    away = np.linalg.norm(outline.corners[:, None] - expected[None], axis=2).min(axis=1)
    np.testing.assert_allclose(away, 0.0, atol=1e-9)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"  \n", "the file is empty"),
        (b"AC1032" + bytes(100), "it is a DWG file; export it as DXF"),
        (bytes.fromhex("4175746f4341442042696e617279204458460d0a1a00") + bytes(50), "it is a binary DXF"),  # their mark
        (b"no drawing at all\n" * 20, "it is no DXF, or a damaged one"),
        (bytes(range(256)) * 4, "it is no DXF, or a damaged one"),
    ],
)
def test_what_is_no_drawing_is_said_in_one_sentence(content: bytes, said: str, tmp_path: Path) -> None:
    place = tmp_path / "flat.dxf"
    place.write_bytes(content)
    with pytest.raises(SceneError) as refused:
        read_dxf(place)
    assert said in str(refused.value)
    assert str(refused.value).startswith("flat.dxf: ")


def test_a_drawing_cut_off_in_the_middle_is_refused_or_read(tmp_path: Path) -> None:
    whole = l_room(tmp_path / "flat.dxf").read_bytes()
    place = tmp_path / "cut.dxf"
    for fraction in (0.1, 0.3, 0.6, 0.9):
        place.write_bytes(whole[: int(fraction * len(whole))])
        with pytest.raises(SceneError, match=r"cut\.dxf: "):
            read_dxf(place)


def test_a_drawing_without_lines_and_one_that_is_missing(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="there is nothing in it"):
        read_dxf(saved(new_drawing(), tmp_path / "flat.dxf"))
    with pytest.raises(SceneError, match="there is no such file"):
        read_dxf(tmp_path / "none.dxf")
    with pytest.raises(SceneError, match="it is a folder"):
        read_dxf(tmp_path)


def test_more_lines_than_any_plan_has_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan_lines, "MOST_LINES", 8)
    with pytest.raises(SceneError, match="more than 8 lines"):
        read_dxf(l_room(tmp_path / "flat.dxf"))
