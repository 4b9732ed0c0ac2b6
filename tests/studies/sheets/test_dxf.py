"""The CAD file is read back by an independent reader and measured again."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest

from sim.errors import OutputError
from sim.showing.numbers import drawn_length
from sim.studies.sheets.dxf import write_dxf
from sim.studies.sheets.layout import drawings_of
from sim.studies.sheets.records import LAYERS
from tests.studies.sheets.treated_rooms import lopsided, sloping

DATE = datetime.date(2025, 3, 1)


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> Any:
    path = tmp_path_factory.mktemp("dxf") / "drawings.dxf"
    write_dxf(lopsided(), path, DATE)
    return ezdxf.readfile(path)  # type: ignore[attr-defined]


def box_of(line: Any) -> np.ndarray:
    points = np.array([point[:2] for point in line.get_points("xy")])
    return np.stack([points.min(axis=0), points.max(axis=0)])


def drawing_left(document: Any, title: str) -> float:
    """Where a drawing starts: its title stands over its left end."""
    (text,) = [text for text in document.modelspace().query("TEXT") if text.dxf.text.startswith(title)]
    return float(text.dxf.insert[0])


def test_the_file_is_sound_and_in_millimetres(document: Any) -> None:
    audit = document.audit()
    assert audit.errors == [] and audit.fixes == []
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1


def test_layers_are_there_and_used(document: Any) -> None:
    for name in LAYERS:
        assert name in document.layers
        assert document.layers.get(name).dxf.lineweight > 0
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert used == set(LAYERS)


def test_dimensions_measure_what_they_say(document: Any) -> None:
    dimensions = list(document.modelspace().query("DIMENSION"))
    expected = [one for drawing in drawings_of(lopsided()) for one in drawing.dimensions]
    assert len(dimensions) == len(expected)
    for entity, one in zip(dimensions, expected, strict=True):
        measured = float(entity.get_measurement())
        assert measured == pytest.approx(1000.0 * one.value_m, abs=1e-6)
        assert entity.dxf.text in ("", "<>")
        written = [text.dxf.text for text in entity.get_geometry_block().query("TEXT")]
        written += [text.text for text in entity.get_geometry_block().query("MTEXT")]
        assert any(one.label in words for words in written), (one.label, written)


def test_the_left_panel_is_700_from_the_front_corner(document: Any) -> None:
    left = drawing_left(document, "Wall elevation: left wall")
    space = document.modelspace()
    walls = [box_of(line) for line in space.query('LWPOLYLINE[layer=="WALLS"]')]
    wall = next(box for box in walls if box[0, 0] == pytest.approx(left) and np.allclose(box[1] - box[0], [5200, 2500]))
    panels = [box_of(line) for line in space.query('LWPOLYLINE[layer=="PANELS"]')]
    (panel,) = [box for box in panels if wall[0, 0] <= box[0, 0] <= wall[1, 0]]
    assert panel[1] - panel[0] == pytest.approx([600.0, 1200.0])
    assert wall[1, 0] - panel[1, 0] == pytest.approx(700.0)
    assert panel[0, 1] - wall[0, 1] == pytest.approx(610.0)


def test_reflection_points_are_points_at_their_place(document: Any) -> None:
    """Right wall: the tweeter of the left loudspeaker, mirrored in across 4.00 m."""
    left = drawing_left(document, "Wall elevation: right wall")
    source, ear = np.array([0.60, 1.00, 1.25]), np.array([2.10, 1.70, 1.20])
    fraction = (4.0 - source[1]) / ((4.0 - source[1]) + (4.0 - ear[1]))
    expected = 1000.0 * (source + fraction * (ear - source))[[0, 2]] + np.array([left, 0.0])
    points = [np.array([*point.dxf.location])[:2] for point in document.modelspace().query('POINT[layer=="POINTS"]')]
    assert min(float(np.linalg.norm(point - expected)) for point in points) < 1e-3


def test_drawings_do_not_lie_on_each_other(document: Any) -> None:
    titles = [drawing.title for drawing in drawings_of(lopsided())]
    starts = [drawing_left(document, title + ("," if title == "Plan" else "")) for title in titles]
    assert starts == sorted(starts)
    for drawing, start, following in zip(drawings_of(lopsided()), starts, starts[1:], strict=False):
        assert start + 1000.0 * (drawing.high[0] - drawing.low[0]) < following


def test_title_hash_and_cautions_are_in_the_file(document: Any) -> None:
    words = " ".join(text.dxf.text for text in document.modelspace().query("TEXT"))
    assert lopsided().scene.blueprint.title in words
    for part in (
        lopsided().scene.digest,
        "2025-03-01",
        "Not judged",
        "Local codes and licensed trades win",
        "Demo data",
    ):
        assert part in words


def test_feet_and_inches_stand_beside_the_true_length(tmp_path: Path) -> None:
    write_dxf(sloping(), tmp_path / "drawings.dxf", DATE)
    document = ezdxf.readfile(tmp_path / "drawings.dxf")  # type: ignore[attr-defined]
    assert document.audit().errors == []
    assert document.header["$INSUNITS"] == 4
    for entity in document.modelspace().query("DIMENSION"):
        assert entity.dxf.text == drawn_length(float(entity.get_measurement()) / 1000.0, "ft")


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_dxf(sloping(), tmp_path / "nowhere" / "drawings.dxf", DATE)
