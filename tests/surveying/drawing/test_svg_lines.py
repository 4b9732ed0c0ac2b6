"""SVG drawings written by hand: shapes, paths, transforms, layers, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import SceneError
from sim.surveying.drawing.closing import closed_outlines
from sim.surveying.drawing.svg_lines import read_svg, straight_pieces
from tests.surveying.drawing.plan_files import L_AREA_M2

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="{w}" height="5000mm" viewBox="0 0 6000 5000">'
L_PATHS = {
    "absolute": "M 0 0 L 5200 0 L 5200,2600 3600 2600 L 3600 4400 H 0 Z",
    "relative": "m0,0 5200,0 0,2600 -1600,0 0,1800 -3600,0z",
    "mixed": "M0 0h5200v2600h-1600V4400H0z",
}


def written(inside: str, place: Path, width: str = "6000mm") -> Path:
    place.write_text(HEAD.format(w=width) + inside + "</svg>", encoding="utf-8")
    return place


@pytest.mark.parametrize("data", L_PATHS.values(), ids=L_PATHS)
def test_a_path_of_straight_pieces(data: str, tmp_path: Path) -> None:
    drawing = read_svg(written(f'<g id="walls"><path d="{data}"/></g>', tmp_path / "flat.svg"))
    assert drawing.unit == "mm"
    (layer,) = drawing.layers
    assert layer.name == "walls"
    (outline,) = closed_outlines(layer.lines * 1e-3).outlines
    assert outline.area_m2 == pytest.approx(L_AREA_M2)
    assert len(outline.corners) == 6
    np.testing.assert_allclose(layer.lines[..., 1].max(), 0.0)  # y runs up here and down there


@pytest.mark.parametrize(
    ("shape", "count", "length"),
    [
        ('<line x1="0" y1="0" x2="300" y2="400"/>', 1, 500.0),
        ('<rect x="10" y="10" width="300" height="400"/>', 4, 1400.0),
        ('<polyline points="0,0 300,0 300,400"/>', 2, 700.0),
        ('<polygon points="0,0 300,0 300,400"/>', 3, 1200.0),
    ],
)
@pytest.mark.parametrize("turn", ["", 'transform="translate(5 6) rotate(30) matrix(0 1 -1 0 7 8)"'])
def test_shapes_keep_their_lengths_when_turned(
    shape: str, count: int, length: float, turn: str, tmp_path: Path
) -> None:
    (layer,) = read_svg(written(f"<g {turn}>{shape}</g>", tmp_path / "flat.svg")).layers
    assert len(layer.lines) == count
    assert layer.length == pytest.approx(length)


def test_a_turn_about_a_point_goes_the_right_way(tmp_path: Path) -> None:
    """SVG turns clockwise on the screen, since y runs down: (10, 0) turned by 90 degrees comes to (0, 10) there."""
    inside = '<line transform="rotate(90)" x1="0" y1="0" x2="10" y2="0"/>'
    (layer,) = read_svg(written(inside, tmp_path / "flat.svg")).layers
    np.testing.assert_allclose(layer.lines[0], [[0.0, 0.0], [0.0, -10.0]], atol=1e-12)
    inside = '<line transform="scale(2) rotate(180 10 5)" x1="0" y1="0" x2="10" y2="5"/>'
    (layer,) = read_svg(written(inside, tmp_path / "flat.svg")).layers
    np.testing.assert_allclose(layer.lines[0], [[40.0, -20.0], [20.0, -10.0]], atol=1e-12)


def test_what_is_hidden_or_curved_is_left_out(tmp_path: Path) -> None:
    line = '<line x1="0" y1="0" x2="1000" y2="0"/>'
    inside = f'<defs>{line}</defs><g style="display: none">{line}</g><g id="a">{line}<path d="M0 0C1 1 2 2 3 3"/></g>'
    (layer,) = read_svg(written(inside, tmp_path / "flat.svg")).layers
    assert (layer.name, len(layer.lines), layer.left_out) == ("a", 1, 1)


@pytest.mark.parametrize(
    ("width", "unit"), [("6000mm", "mm"), ("60mm", ""), ("100%", ""), ("6000", ""), ("6000px", "")]
)
def test_the_unit_is_known_only_at_full_size(width: str, unit: str, tmp_path: Path) -> None:
    line = '<line x1="0" y1="0" x2="1000" y2="0"/>'
    assert read_svg(written(line, tmp_path / "flat.svg", width)).unit == unit


ENTITIES = '<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><svg><text>&b;</text></svg>'
OUTSIDE = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hostname">]><svg><text>&x;</text></svg>'


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "the file is empty"),
        (ENTITIES, "it declares entities, which are not read"),
        (OUTSIDE, "it declares entities, which are not read"),
        ("<svg><line", "it is no SVG, or a damaged one"),
        ("<html/>", "it is XML, but no SVG"),
        ("<svg/>", "there is nothing in it"),
        ('<svg><path d="M0 0 L1"/></svg>', "path data end in the middle of a point"),
        ('<svg><path d="L1 1"/></svg>', "path data begin without a place to move to"),
        ('<svg><g transform="skewX(3)"/></svg>', 'a transform "skewX" that is not read'),
        ('<svg><line x1="a" x2="3"/></svg>', "it is no SVG, or a damaged one"),
        ('<svg><line x1="1e999" x2="3"/></svg>', "no finite coordinates"),
    ],
)
def test_what_is_no_drawing_is_said_in_one_sentence(content: str, said: str, tmp_path: Path) -> None:
    place = tmp_path / "flat.svg"
    place.write_text(content, encoding="utf-8")
    with pytest.raises(SceneError) as refused:
        read_svg(place)
    assert said in str(refused.value)


def test_path_data_go_on_from_where_a_piece_was_closed() -> None:
    pieces = straight_pieces("M1 1h2v2zl5 5M9 9L8 8")
    assert pieces == [
        ([(1.0, 1.0), (3.0, 1.0), (3.0, 3.0)], True),
        ([(1.0, 1.0), (6.0, 6.0)], False),
        ([(9.0, 9.0), (8.0, 8.0)], False),
    ]
    assert straight_pieces("M0 0Q1 1 2 2") is None
