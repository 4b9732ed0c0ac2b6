"""Where panels hang, and where they may not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene
from sim.placement.solids import share_space
from tests.built_scenes import HARD, block, box, built_scene_of, prism

ROOM = box(5.0, 4.0, 2.5)
ATTIC = {
    **prism([(0.0, 0.0), (5.0, 0.0), (5.0, 4.0), (0.0, 4.0)], 2.6),
    "slopes": [{"name": "slope", "wall": "left wall", "starts_at_height": 1.0, "angle_deg": 45.0}],
}
WINDOW = {
    "name": "window",
    "kind": "window",
    "surface": "left wall",
    "from_front": (1.0, 2.0),
    "up": (1.0, 2.0),
}
LAMP = {"name": "lamp", "kind": "lamp", "from_front": (2.0, 2.2), "from_left": (1.9, 2.1), "up": (2.3, 2.5)}


def side(depth: tuple[float, float], up: tuple[float, float], **more: Any) -> dict[str, Any]:
    return {"name": "side", "surface": "left wall", "from_front": depth, "up": up, "material": "100 mm wool", **more}


def top(depth: tuple[float, float], across: tuple[float, float], **more: Any) -> dict[str, Any]:
    return {
        "name": "cloud",
        "surface": "ceiling",
        "from_front": depth,
        "from_left": across,
        "material": "50 mm wool",
        **more,
    }


def built_from(*panels: dict[str, Any], room: dict[str, Any] = ROOM, **more: Any) -> BuiltScene:
    materials = {"hard": {"absorption": HARD, "source": "made up for a test"}}
    return built_scene_of(room, [(1.0, 1.5, 1.2)], (3.0, 2.0, 1.2), panels=list(panels), materials=materials, **more)


def refusal(*panels: dict[str, Any], **more: Any) -> str:
    with pytest.raises(SceneError) as fault:
        built_from(*panels, **more)
    return str(fault.value)


def test_a_panel_hangs_where_its_spans_say() -> None:
    (panel,) = built_from(side((1.0, 1.6), (0.5, 1.7), note="french cleat")).panels
    assert panel.corners_m.min(axis=0) == pytest.approx([1.0, 0.0, 0.5])
    assert panel.corners_m.max(axis=0) == pytest.approx([1.6, 0.0, 1.7])
    assert panel.normal == pytest.approx([0.0, 1.0, 0.0])
    assert panel.depth_m == pytest.approx(0.1)
    assert panel.note == "french cleat"
    assert panel.body.max(axis=0) == pytest.approx([1.6, 0.1, 1.7])


def test_on_a_slope_spans_are_tape_distances() -> None:
    """45 degrees from 1.0 m up: at height 1.5 m it is 0.5 m from the left; 0.6 m of height are 0.85 m of slope."""
    (panel,) = built_from(side((1.0, 1.6), (1.4, 2.0), surface="slope"), room=ATTIC).panels
    assert panel.corners_m[:, 1] == pytest.approx(panel.corners_m[:, 2] - 1.0)
    assert panel.corners_m[:, 2].min() == pytest.approx(1.4)
    sides = np.linalg.norm(np.diff(panel.corners_m, axis=0), axis=1)
    assert sorted(sides[:2]) == pytest.approx([0.6, 0.6 * np.sqrt(2.0)])
    (same,) = built_from(
        {**side((1.0, 1.6), (1.4, 2.0), surface="slope"), "up": None, "from_left": (0.4, 1.0)}, room=ATTIC
    ).panels
    assert same.corners_m.min(axis=0) == pytest.approx(panel.corners_m.min(axis=0))


def test_a_panel_may_hang_on_furniture() -> None:
    cupboard = block((4.0, 4.6), (0.5, 2.0), (0.0, 2.0), kind="cupboard", name="cupboard")
    on_it = {
        "name": "on it",
        "surface": "cupboard far side",
        "from_left": (0.6, 1.9),
        "up": (0.2, 1.9),
        "material": "50 mm wool",
    }
    (panel,) = built_from(on_it, furniture=[cupboard]).panels
    assert panel.corners_m[:, 0] == pytest.approx(4.0)
    assert panel.normal == pytest.approx([-1.0, 0.0, 0.0])


def test_panels_may_touch_and_share_a_build_up() -> None:
    built = built_from(side((1.0, 1.6), (0.5, 1.7)), side((1.6, 2.2), (0.5, 1.7), name="next"))
    assert [panel.finish for panel in built.panels] == [0, 0]
    assert len(built.finishes) == 1


def test_panels_do_not_overlap_neither_on_a_wall_nor_in_a_corner() -> None:
    assert refusal(side((1.0, 1.6), (0.5, 1.7)), side((1.59, 2.2), (0.5, 1.7), name="next")) == (
        'panels "next": it overlaps the panel "side"; move one of them, or make it smaller.'
    )
    front = {
        "name": "front",
        "surface": "front wall",
        "from_left": (0.05, 0.6),
        "up": (0.5, 1.7),
        "material": "50 mm wool",
    }
    assert "it overlaps the panel" in refusal(side((0.0, 0.6), (0.5, 1.7)), front)
    assert len(built_from(side((0.05, 0.6), (0.5, 1.7)), {**front, "from_left": (0.1, 0.6)}).panels) == 2


def test_a_panel_stays_on_its_surface() -> None:
    assert refusal(side((1.0, 1.6), (1.7, 2.6))) == (
        'panels "side": it reaches over the edge of "left wall": the panel spans from_front 1.00 to 1.60 m, up 1.70 to '
        "2.60 m, the surface from_front 0.00 to 5.00 m, up 0.00 to 2.50 m; correct its spans, or name the surface it "
        "really hangs on."
    )
    assert built_from(side((1.0, 1.6), (1.7, 2.501))).panels[0].corners_m[:, 2].max() == pytest.approx(2.501)


def test_an_unknown_surface_is_told_with_the_nearest() -> None:
    assert refusal(side((1.0, 1.6), (1.4, 2.0), surface="slop"), room=ATTIC).startswith(
        'panels "side": surface: no surface is called "slop"; perhaps you mean "slope" (the surfaces are '
    )


def test_spans_that_do_not_place_it_are_told() -> None:
    bad = {**side((1.0, 1.6), (1.4, 2.0), surface="slope"), "from_left": (3.0, 3.5), "from_front": None}
    assert 'its place in "slope" needs two spans along that surface' in refusal(bad, room=ATTIC)


def test_openings_stay_usable() -> None:
    over = side((1.5, 2.5), (0.5, 1.5))
    assert refusal(over, openings=[WINDOW]) == (
        'panels "side": it stands over "window", an opening that must open; move it beside the opening, or say '
        "movable = true for a panel that is taken away by hand."
    )
    built = built_from({**over, "movable": True}, openings=[WINDOW])
    assert 'The movable panel "side" stands over "window" and keeps it from being used.' in built.notes
    fixed = built_from(over, openings=[{**WINDOW, "must_open": False}])
    assert 'The panel "side" stands over "window" and keeps it from being used.' in fixed.notes
    assert refusal({**over, "movable": True}, openings=[{**WINDOW, "escape": True}]) == (
        'panels "side": it stands over "window", a way out; move it beside the opening.'
    )
    beside = built_from(side((2.0, 2.6), (0.5, 1.5)), openings=[WINDOW])
    assert not any("stands over" in note for note in beside.notes)


def test_a_panel_on_a_door_leaf_is_over_the_door() -> None:
    plug = side((1.0, 2.0), (1.0, 2.0), surface="window", movable=True)
    assert len(built_from(plug, openings=[WINDOW]).panels) == 1
    assert "must open" in refusal({**plug, "movable": False}, openings=[WINDOW])


def test_zones_stay_clear_by_the_depth_of_a_panel_and_the_clearance() -> None:
    assert refusal(top((1.5, 2.5), (1.5, 2.5)), keep_clear=[LAMP]) == (
        'panels "cloud": it stands in the zone "lamp" (lamp); move it away, or make it smaller.'
    )
    beside = top((1.5, 1.95), (1.5, 2.5))
    assert len(built_from(beside, keep_clear=[LAMP]).panels) == 1
    assert "with 0.10 m around it" in refusal(beside, keep_clear=[{**LAMP, "clearance": 0.1}])
    below = {**LAMP, "up": (2.30, 2.44)}  # the face of 50 mm of wool hangs at 2.45 m
    assert len(built_from(top((1.5, 2.5), (1.5, 2.5)), keep_clear=[below]).panels) == 1


def test_slanted_boxes_share_space_only_if_no_plane_parts_them() -> None:
    """Two unit cubes, one turned by 45 degrees about the upright: they touch at a distance of 1/2 + sqrt(1/2)."""
    square = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    turned = square @ np.array([[1.0, -1.0], [1.0, 1.0]]) / np.sqrt(2.0)

    def cube(flat: np.ndarray, away: float) -> np.ndarray:
        return np.concatenate([np.column_stack([flat + np.array([away, 0.0]), np.full(4, up)]) for up in (0.0, 1.0)])

    touching = 0.5 + np.sqrt(0.5)
    assert share_space(cube(square, 0.0), cube(turned, touching - 0.01))
    assert not share_space(cube(square, 0.0), cube(turned, touching + 0.01))
