"""What every kind of furniture answers for itself, held against the shape that is built of it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np
import pytest

from sim.blueprint.furniture import kinds_of_furniture, refuse_open_questions
from sim.blueprint.pieces import BearsNothing, Piece, Placed
from sim.blueprint.records import Point
from sim.geometry.meshes import furniture_patches
from tests.built_scenes import NOWHERE

HOME = Path(__file__).resolve().parents[3]
KINDS = kinds_of_furniture()
PLAN = {"from_front": [1.0, 1.8], "from_left": [1.0, 2.6]}
AT = {"from_front": 1.0, "from_left": 1.5, "up": 0.8}
SAMPLES: dict[str, dict[str, Any]] = {
    "desk": PLAN | {"top": 0.74, "front": "closed", "tilt_deg": 5.0, "turn_deg": 20.0},
    "shelf": PLAN | {"up": [0.9, 1.1], "turn_deg": -30.0},
    "screen": {"at": AT, "width": 0.6, "height": 0.4, "tilt_deg": 5.0},
    "sofa": PLAN,
    "mesh": {"name": "chair", "file": "chair.obj", "frame": {"unit": "m"}, "at": AT},
}
"""One piece of every record, by one of its words; made-up sizes."""


def sample(kind: type[Piece]) -> Piece:
    (word,) = [each for each in get_args(kind.model_fields["kind"].annotation) if each in SAMPLES]
    return kind.model_validate({"kind": word} | SAMPLES[word])


PIECES = [sample(kind) for kind in KINDS]
every_kind = pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece.kind)
every_solid_kind = pytest.mark.parametrize(
    "piece", [one for one in PIECES if one.mesh is None], ids=lambda piece: piece.kind
)


def corners(piece: Piece) -> np.ndarray:
    return np.concatenate([patch.triangles for patch in furniture_patches(piece, NOWHERE)]).reshape(-1, 3)


def shifted(piece: Piece, place: tuple[str | int, ...], by: float) -> Piece:
    """The piece with one number in it changed, read again as a scene would be."""
    reported = piece.model_dump()
    holder = reported
    for key in place[:-1]:
        holder[key] = list(holder[key]) if isinstance(holder[key], tuple) else holder[key]
        holder = holder[key]
    holder[place[-1]] += by
    return type(piece).model_validate(reported)


@every_kind
def test_a_kind_is_of_solids_or_of_a_mesh(piece: Piece) -> None:
    assert bool(piece.solids()) != (piece.mesh is not None)
    assert piece.name and piece.material


@every_solid_kind
def test_every_solid_is_closed_convex_and_looks_outward(piece: Piece) -> None:
    """Faces are flat, all corners lie behind each, and the six of a solid enclose it (divergence theorem)."""
    patches = furniture_patches(piece, NOWHERE)
    assert len({patch.name for patch in patches}) == len(patches) == 6 * len(piece.solids())
    assert {(patch.owner, patch.material) for patch in patches} == {(piece.name, piece.material)}
    for number, solid in enumerate(piece.solids()):
        triangles = np.concatenate([patch.triangles for patch in patches[6 * number : 6 * number + 6]])
        normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        heights = ((solid.corners[None] - triangles[:, :1]) * normals[:, None]).sum(axis=2)
        assert heights.max() < 1e-9
        assert normals.sum(axis=0) == pytest.approx(0.0, abs=1e-9)
        assert (triangles[:, 0] * normals).sum() / 6.0 > 1e-4
        assert normals[0, 2] > 0.0 > normals[2, 2]


@every_solid_kind
def test_what_a_tape_measures_moves_the_shape(piece: Piece) -> None:
    """Each reading is a length of the record, and another value of it another shape."""
    readings = piece.readings()
    assert len({one.name for one in readings}) == len(readings) >= 3
    for reading in readings:
        after = corners(shifted(piece, reading.place, 0.01))
        assert np.abs(after - corners(piece)).max() == pytest.approx(0.01, rel=0.5), reading.name


@every_solid_kind
def test_what_stands_on_a_top_rises_with_the_reading_that_lifts(piece: Piece) -> None:
    lifting = [one for one in piece.readings() if one.lifts]
    assert len(lifting) == piece.bears
    for reading in lifting:
        higher = shifted(piece, reading.place, 0.01)
        assert higher.top_at(1.4, 1.8) - piece.top_at(1.4, 1.8) == pytest.approx(0.01)


@every_solid_kind
@pytest.mark.parametrize("step", [(0.1, 0.0, 0.0), (0.0, -0.2, 0.0), (0.0, 0.0, 0.05)])
def test_a_moved_piece_is_the_same_shape_elsewhere(piece: Piece, step: tuple[float, float, float]) -> None:
    moved = piece.moved(step)
    assert moved is not None or step[2]
    if moved is not None:
        assert corners(moved) - corners(piece) == pytest.approx(np.tile(step, (len(corners(piece)), 1)), abs=1e-12)


@every_solid_kind
def test_a_cut_piece_is_shorter_and_its_other_end_stays(piece: Piece) -> None:
    for span in ("from_front", "from_left", "up"):
        for end in (0, 1):
            cut = piece.cut(span, end, 0.1)
            assert (cut is not None) == (span in piece.cuttable)
            if cut is not None:
                before, after = getattr(piece, span), getattr(cut, span)
                assert after[1 - end] == before[1 - end]
                assert after[1] - after[0] == pytest.approx(before[1] - before[0] - 0.1)
    assert piece.cut("from_front", 0, 0.78) is None


@every_solid_kind
def test_a_top_lies_where_it_is_built(piece: Piece) -> None:
    """A piece bears, is reached or tilted only by a face of its own of that height."""
    faces = {patch.name: patch for patch in furniture_patches(piece, NOWHERE)}
    hinge = piece.hinge()
    assert hinge is None or hinge.surface in faces
    if not piece.bears:
        assert np.isnan(piece.top_at(1.4, 1.8)) and piece.beyond_m(1.4, 1.8) == np.inf and not piece.worked_at
        return
    middle = faces[f"{piece.name} top"].triangles.reshape(-1, 3)[[0, 2]].mean(axis=0)
    assert piece.top_at(middle[0], middle[1]) == pytest.approx(middle[2], abs=1e-9)


@every_solid_kind
def test_a_tilt_turns_the_hinged_top_and_nothing_else_can_be_tilted(piece: Piece) -> None:
    tilted, hinge = piece.tilted(3.0), piece.hinge()
    assert (tilted is None) == (hinge is None)
    if tilted is None or hinge is None:
        return
    for u, v in ((1.1, 1.2), (1.7, 2.5)):
        rise = hinge.rise_at(u, v, hinge.tilt_deg + 3.0) - hinge.rise_at(u, v, hinge.tilt_deg)
        if piece.beyond_m(u, v) <= 0.0:
            assert tilted.top_at(u, v) - piece.top_at(u, v) == pytest.approx(rise, abs=1e-9)


def test_the_ear_is_as_far_from_a_desk_as_a_tape_says() -> None:
    (desk,) = [piece for piece in PIECES if piece.worked_at]
    straight = desk.model_copy(update={"turn_deg": 0.0})
    assert straight.reach_m(2.1, 1.8) == pytest.approx(0.3)
    for ear in ((2.1, 0.9), (1.3, 1.8)):  # beside it, and before its middle
        assert np.isnan(straight.reach_m(*ear))
    assert np.isnan(desk.reach_m(2.1, 1.8))


def test_a_kind_that_leaves_a_question_open_is_refused() -> None:
    class Stool(Placed, BearsNothing):
        kind: Literal["stool"]
        name: str = "stool"
        at: Point
        material: str = "wood"

    with pytest.raises(TypeError, match="Stool does not answer adjustable, cuttable, readings, solids"):
        refuse_open_questions(Stool)
    with pytest.raises(TypeError, match="abstract"):
        Stool.model_validate({"kind": "stool", "at": AT})


def test_nobody_else_knows_which_kinds_there_are() -> None:
    """No module outside their folder imports a kind, asks of which class a piece is, or compares its word."""
    names = "|".join(kind.__name__ for kind in KINDS)
    words = "|".join(word for kind in KINDS for word in get_args(kind.model_fields["kind"].annotation))
    told_apart = rf"isinstance\([^()]*\b({names})\b|case ({names})\(|(item|piece)\.kind (==|in|!=)[^\n]*\"({words})\""
    asks = re.compile(rf"{told_apart}|from sim\.blueprint\.furniture\.")
    theirs = [
        HOME / "sim" / "blueprint" / "furniture",
        HOME / "sim" / "studies" / "stand",
    ]  # its pieces are bricks and pads
    found = [
        f"{path.relative_to(HOME)}: {line.strip()}"
        for path in sorted((HOME / "sim").rglob("*.py"))
        if path.parent not in theirs
        for line in path.read_text(encoding="utf-8").splitlines()
        if asks.search(line)
    ]
    assert found == []
