"""The command that makes a scene of a plan drawing: what it lists, asks, writes and refuses."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import sim
from sim.__main__ import main
from sim.errors import SceneError
from tests.surveying.drawing.plan_files import L_AREA_M2, L_ROOM, as_lines, as_polyline, l_room, new_drawing, saved


@pytest.fixture
def flat(tmp_path: Path) -> Path:
    return l_room(tmp_path / "flat.dxf")


def test_without_a_layer_all_are_listed(flat: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["floorplan", str(flat)]) == 0
    said = capsys.readouterr().out
    assert "flat.dxf: 3 layers, in mm." in said
    assert "WALLS        6 lines      19.20 m  closed: 5200 mm x 4400 mm, 6 corners, 20.0 m2" in said
    assert "OUTSIDE      4 lines      31.20 m  closed: 9300 mm x 6300 mm, 4 corners, 58.6 m2" in said
    assert "TEXT         0 lines       0.00 m  closes nothing" in said
    assert "--layer NAME" in said


def test_a_drawing_becomes_the_scene_that_new_writes(flat: Path, tmp_path: Path) -> None:
    home = tmp_path / "room"
    command = [
        "floorplan",
        str(flat),
        "--layer",
        "walls",
        "--tape",
        "width=5.21",
        "--height",
        "250 cm",
        "-o",
        str(home),
    ]
    assert main([*command, "--title", "An invented L"]) == 0
    scene = sim.read_scene(home)
    room = scene.blueprint.room
    assert scene.blueprint.title == "An invented L"
    assert scene.blueprint.units == "mm"
    assert room.height == pytest.approx(2.5)
    corners = np.array([(corner.from_front, corner.from_left) for corner in room.outline or ()])
    expected = np.array([(4.4 - y, x) for x, y in L_ROOM])
    away = np.linalg.norm(corners[:, None] - expected[None], axis=2)
    np.testing.assert_allclose(away.min(axis=1), 0.0, atol=1e-9)
    built = sim.check(scene).built
    assert built.volume_m3 == pytest.approx(2.5 * L_AREA_M2)
    text = (home / "scene.toml").read_text(encoding="utf-8")
    assert "# The outline is that of flat.dxf, layer WALLS." in text
    assert "# Tape: width 5.21; the drawing agrees within 10 mm." in text
    assert main(command) == 2  # never over a scene that is there


def test_several_outlines_are_the_persons_to_choose(
    flat: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = ["floorplan", str(flat), "--layer", "WALLS", "--layer", "OUTSIDE"]
    assert main(both) == 0
    said = capsys.readouterr().out
    assert "1  9300 mm x 6300 mm" in said
    assert "2  5200 mm x 4400 mm" in said
    rest = ["--tape", "width=5.2", "--height", "2.5", "-o", str(tmp_path / "room")]
    assert main([*both, *rest]) == 2
    assert "--outline: there are 2 closed outlines; choose one" in capsys.readouterr().err
    assert not (tmp_path / "room").exists()
    assert main([*both, *rest, "--outline", "2"]) == 0
    assert main([*both, "--outline", "3"]) == 2
    assert "--outline: it is 3; give 1 to 2" in capsys.readouterr().err


def test_a_door_is_said_and_not_invented(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = new_drawing()
    space = document.modelspace()
    as_lines(document, L_ROOM, "WALLS")
    space.delete_entity(next(iter(space)))
    for a, b in ((0.0, 1000.0), (1900.0, 5200.0)):
        space.add_line((a, 0.0), (b, 0.0), dxfattribs={"layer": "WALLS"})
    place = saved(document, tmp_path / "flat.dxf")
    home = tmp_path / "room"
    command = ["floorplan", str(place), "--layer", "WALLS"]
    assert main(command) == 2
    assert "nothing on WALLS closes a room: a gap of 900 mm from (1" in capsys.readouterr().err
    assert main([*command, "--bridge", "--tape", "2=5.2", "--height", "2.5", "-o", str(home)]) == 0
    question = "A gap in the rear wall, 1000 mm to 1900 mm from the left wall: door or window?"
    assert question in capsys.readouterr().out
    scene = sim.read_scene(home)
    assert scene.blueprint.openings == ()
    assert f"# {question}" in (home / "scene.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--layer", "WALS"], "--layer WALS: flat.dxf has no such layer; perhaps you mean"),
        (["--layer", "TEXT"], "--layer TEXT: there are no lines on it"),
        (["--layer", "WALLS", "--tape", "width=5.4"], "--tape width: the drawing has 5.20 m and the tape 5.40 m"),
        (["--layer", "WALLS", "--tape", "width=wide"], '--tape: "wide" is not a length'),
        (["--layer", "WALLS", "--tape", "5.2"], '--tape: "5.2" is no reading; write what was measured and its length'),
        (["--layer", "WALLS", "--tape", "width="], '--tape: "width=" is no reading'),
        (["--layer", "WALLS", "--tape", "width=nan"], "--tape: it is nan"),
        (["--layer", "WALLS", "--front", "9"], '--front: it is "9"'),
        (["--layer", "WALLS", "--gap", "2 m"], "--gap: it is 2 m; give 0 m to 0.5 m"),
        (["--layer", "WALLS", "--unit", "m"], "in m the outline is 5,200 m by 4,400 m, which is no room"),
        (["--layer", "WALLS", "--unit", "in"], "give --unit cm or mm"),
        (["-o", "room"], "--layer: no layer is chosen"),
        (["--layer", "WALLS", "-o", "room"], "--tape: nothing confirms the drawing"),
        (["--layer", "WALLS", "--tape", "width=5.2", "-o", "room"], "--height: a plan does not have it"),
        (["--layer", "WALLS", "--tape", "width=5.2", "--height", "high", "-o", "room"], '--height: "high" is not'),
        (
            ["--layer", "WALLS", "--tape", "width=5.2", "--height", "0.5", "-o", "room"],
            "height: it is 0.5 m",
        ),
    ],
)
def test_what_cannot_be_is_one_sentence(
    options: list[str], said: str, flat: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(flat.parent)
    assert main(["floorplan", str(flat), *options]) == 2
    error = capsys.readouterr().err
    assert said in error
    assert len([line for line in error.strip().splitlines() if not line.startswith("  ...")]) == 1
    assert not (flat.parent / "room").exists()


def test_a_drawing_that_does_not_say_its_unit_is_asked_for_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = new_drawing(0)
    as_polyline(document, L_ROOM, "WALLS", 100.0)
    place = saved(document, tmp_path / "flat.dxf")
    assert main(["floorplan", str(place)]) == 0
    assert "does not say its unit: give --unit m, cm, mm, in or ft" in capsys.readouterr().out
    assert main(["floorplan", str(place), "--layer", "WALLS"]) == 2
    error = capsys.readouterr().err
    assert "it does not say its unit; it is 520 by 440 units large; --unit cm or in would fit" in error
    plan = sim.floorplan(place, layers=["WALLS"], unit="cm")
    assert plan.outline is not None
    assert plan.outline.area_m2 == pytest.approx(L_AREA_M2)


def test_a_drawing_in_kilometres_and_one_far_too_small(tmp_path: Path) -> None:
    document = new_drawing(7)
    as_polyline(document, L_ROOM, "WALLS", 1.0)
    with pytest.raises(
        SceneError, match="in km the outline is 5,200 m by 4,400 m, which is no room; give --unit m or ft"
    ):
        sim.floorplan(saved(document, tmp_path / "far.dxf"), layers=["WALLS"])
    document = new_drawing(4)
    as_polyline(document, L_ROOM, "WALLS", 1.0)
    with pytest.raises(SceneError, match=r"in mm its lines are 0\.0052 m by 0\.0044 m large; check --unit"):
        sim.floorplan(saved(document, tmp_path / "small.dxf"), layers=["WALLS"])


def test_lines_that_cross_are_refused_with_their_place(tmp_path: Path) -> None:
    document = new_drawing()
    as_polyline(document, [(0.0, 0.0), (4.0, 4.0), (4.0, 0.0), (0.0, 4.0)], "WALLS")
    with pytest.raises(SceneError, match=r"lines of the outline cross each other at \(2000, 2000\)"):
        sim.floorplan(saved(document, tmp_path / "bow.dxf"), layers=["WALLS"], outline=1)


def test_a_name_that_is_no_drawing(tmp_path: Path) -> None:
    with pytest.raises(SceneError, match="its name ends in neither"):
        sim.floorplan(tmp_path / "flat.pdf")


def test_an_svg_and_curves_are_told(tmp_path: Path) -> None:
    document = new_drawing(6)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0, 0), (4, 0, 1.0), (4, 3, 0), (0, 3, 0)], format="xyb", close=True)
    plan = sim.floorplan(saved(document, tmp_path / "bay.dxf"), layers=["0"], tape=("width", 5.5))
    assert plan.outline is not None
    assert plan.outline.area_m2 == pytest.approx(12.0 + 0.5 * np.pi * 1.5**2, rel=2e-3)
    assert "1 curves are straight lines now, nowhere further off than 0.002 m." in sim.words(plan)
    svg = tmp_path / "flat.svg"
    svg.write_text('<svg width="5m" viewBox="0 0 5 5"><g id="a"><rect width="4" height="3"/></g></svg>', "utf-8")
    plan = sim.floorplan(svg, layers=["a"])
    assert [row["length_m"] for row in plan.rows()] == pytest.approx([3.0, 4.0, 3.0, 4.0])
    assert "a room of 4 walls, 4.000 m wide and 3.000 m deep" in plan.headline()
    svg.write_text(svg.read_text("utf-8").replace("</g>", '<path d="M0 0C1 1 2 2 3 3"/></g>'), "utf-8")
    for some in ([], ["a"]):
        assert "nothing here follows such curves or things: 1 on a." in sim.words(sim.floorplan(svg, layers=some))


def test_rows_before_anything_is_chosen(flat: Path) -> None:
    assert [row["layer"] for row in sim.floorplan(flat).rows()] == ["OUTSIDE", "WALLS", "TEXT"]
    several = sim.floorplan(flat, layers=["WALLS", "OUTSIDE"])
    assert [row["area_m2"] for row in several.rows()] == pytest.approx([9.3 * 6.3, L_AREA_M2])
