from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.pipeline import build
from sim.studies.sheets.contents import furniture, opening_shapes
from sim.studies.sheets.surfaces import surfaces_of

SCENES = Path(__file__).resolve().parents[3] / "scenes"


def test_a_wall_that_loudspeakers_are_built_into_keeps_its_name() -> None:
    _, built = build(SCENES / "control-room-built-in")
    ceiling = next(surface for surface in surfaces_of(built.room) if surface.kind == "ceiling")
    _, labels = furniture(built, ceiling)
    assert [label.words for label in labels] == ["baffle wall", "front beam", "rear beam"]


def test_loudspeakers_near_a_wall_are_drawn_with_their_letters() -> None:
    _, built = build(SCENES / "bedroom-on-stands")
    front = next(surface for surface in surfaces_of(built.room) if surface.name == "front wall")
    lines, labels = furniture(built, front)
    spots = {label.words: label.spot for label in labels if label.layer == "LOUDSPEAKERS"}
    assert set(spots) == {"L", "R"}
    assert spots["L"][0] < 1.7 < spots["R"][0]  # facing the front wall, the left one is at the left
    assert all(line.dash == "dashed" for line in lines)


def test_an_opening_that_a_mesh_only_tells_of_is_the_rectangle_of_its_spans() -> None:
    scene, built = build(SCENES / "attic-facing-gable")
    (window,) = opening_shapes(built.room, scene.blueprint.openings[0])
    assert window.outline.min(axis=0) == pytest.approx([1.00, 4.60, 1.05], abs=1e-6)
    assert window.outline.max(axis=0) == pytest.approx([2.40, 4.60, 2.15], abs=1e-6)
    assert window.words == "dormer window opens: way out, never block"
    (hatch,) = opening_shapes(built.room, scene.blueprint.openings[1])
    assert np.ptp(hatch.outline[:, 2]) == pytest.approx(0.0, abs=1e-9)


def test_the_dormer_cuts_the_right_slope_and_shares_the_plane_of_the_knee_wall() -> None:
    _, built = build(SCENES / "attic-facing-gable")
    found = {surface.name: surface for surface in surfaces_of(built.room)}
    assert len(found["right slope"].pieces[0].rings[0]) == 8
    assert found["right knee wall"].high[1] == pytest.approx(2.25)
    assert {"dormer front cheek", "dormer rear cheek"} <= set(found)
    assert [piece.ends.left for piece in found["flat ceiling"].pieces] == ["left slope", "right slope"]
