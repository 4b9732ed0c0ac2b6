"""Furniture: every solid closed, outward, of the volume a formula gives, with sides the right way round."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from sim.blueprint.furniture.block import Block
from sim.blueprint.furniture.desk import Desk
from sim.blueprint.furniture.screen import Screen
from sim.blueprint.furniture.sofa import Sofa
from sim.errors import SceneError
from sim.geometry.meshes import furniture_patches
from sim.geometry.patches import Patch

HERE = Path()


def solid(patches: tuple[Patch, ...]) -> trimesh.Trimesh:
    corners = np.concatenate([patch.triangles for patch in patches]).reshape(-1, 3)
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    mesh.merge_vertices(digits_vertex=9)
    return mesh


def check_closed(patches: tuple[Patch, ...], volume: float) -> None:
    mesh = solid(patches)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(volume, rel=1e-9)


def named(patches: tuple[Patch, ...], name: str) -> Patch:
    (found,) = [patch for patch in patches if patch.name == name]
    return found


def middle(patch: Patch) -> np.ndarray:
    return patch.triangles.reshape(-1, 3).mean(axis=0)


def normal(patch: Patch) -> np.ndarray:
    a, b, c = patch.triangles[0]
    crossed = np.cross(b - a, c - a)
    return crossed / np.linalg.norm(crossed)


def a_desk(**changes: object) -> Desk:
    values = {"kind": "desk", "from_front": [0.6, 1.4], "from_left": [1.0, 2.8], "top": 0.74, "thickness": 0.03}
    return Desk.model_validate(values | changes)


SIDES = {
    "top": (0.0, 0.0, 1.0),
    "underside": (0.0, 0.0, -1.0),
    "far side": (-1.0, 0.0, 0.0),
    "listener side": (1.0, 0.0, 0.0),
    "left side": (0.0, -1.0, 0.0),
    "right side": (0.0, 1.0, 0.0),
}


def test_block_sides_look_where_their_names_say() -> None:
    block = Block.model_validate({"kind": "rack", "from_front": [0.5, 1.1], "from_left": [2.0, 2.6], "up": [0.0, 1.2]})
    patches = furniture_patches(block, HERE)
    check_closed(patches, 0.6 * 0.6 * 1.2)
    assert {patch.name for patch in patches} == {f"rack {side}" for side in SIDES}
    for side, direction in SIDES.items():
        patch = named(patches, f"rack {side}")
        assert normal(patch) == pytest.approx(np.array(direction))
        assert patch.owner == "rack"
    assert middle(named(patches, "rack left side"))[1] == pytest.approx(2.0)
    assert middle(named(patches, "rack right side"))[1] == pytest.approx(2.6)
    assert middle(named(patches, "rack far side"))[0] == pytest.approx(0.5)


def test_turning_is_counter_clockwise_from_above() -> None:
    block = Block.model_validate(
        {"kind": "rack", "from_front": [0.0, 1.0], "from_left": [0.0, 0.4], "up": [0.0, 1.0], "turn_deg": 90.0}
    )
    patches = furniture_patches(block, HERE)
    # Depth turns into across: what looked at the seat now looks right.
    assert normal(named(patches, "rack listener side")) == pytest.approx(np.array([0.0, 1.0, 0.0]))
    corners = solid(patches).bounds
    assert corners == pytest.approx(np.array([[0.3, -0.3, 0.0], [0.7, 0.7, 1.0]]))


def test_a_turned_block_keeps_its_middle() -> None:
    block = Block.model_validate(
        {"kind": "block", "from_front": [1.0, 2.0], "from_left": [3.0, 3.4], "up": [0.1, 0.9], "turn_deg": 33.0}
    )
    patches = furniture_patches(block, HERE)
    check_closed(patches, 1.0 * 0.4 * 0.8)
    assert solid(patches).center_mass == pytest.approx(np.array([1.5, 3.2, 0.5]))


def test_level_desk_is_a_plate() -> None:
    patches = furniture_patches(a_desk(), HERE)
    check_closed(patches, 0.8 * 1.8 * 0.03)
    assert named(patches, "desk top").triangles[..., 2] == pytest.approx(0.74)
    assert named(patches, "desk underside").triangles[..., 2] == pytest.approx(0.71)


@given(tilt=st.floats(-45.0, 45.0))
def test_tilt_turns_the_top_about_its_listener_side_edge(tilt: float) -> None:
    patches = furniture_patches(a_desk(tilt_deg=tilt, top=1.5), HERE)
    radians = np.radians(tilt)
    top = named(patches, "desk top").triangles.reshape(-1, 3)
    near, far = top[top[:, 0] > 1.0], top[top[:, 0] < 1.0]
    assert near[:, 2] == pytest.approx(1.5)
    assert far[:, 2] == pytest.approx(1.5 + 0.8 * np.tan(radians))
    assert (top[:, 0].min(), top[:, 0].max()) == pytest.approx((0.6, 1.4))
    # A plate's volume is the area of its top, grown by the tilt, times its thickness.
    check_closed(patches, 0.8 / np.cos(radians) * 1.8 * 0.03)
    thickness = (named(patches, "desk top").triangles[0, 0] - middle(named(patches, "desk underside"))) @ normal(
        named(patches, "desk top")
    )
    assert thickness == pytest.approx(0.03)


def test_positive_tilt_faces_the_seat() -> None:
    assert normal(named(furniture_patches(a_desk(tilt_deg=10.0), HERE), "desk top"))[0] > 0.1


def test_solid_desk_reaches_the_floor() -> None:
    patches = furniture_patches(a_desk(front="solid", tilt_deg=10.0), HERE)
    far = 0.74 + 0.8 * np.tan(np.radians(10.0))
    check_closed(patches, 0.8 * 1.8 * 0.5 * (0.74 + far))
    assert named(patches, "desk underside").triangles[..., 2] == pytest.approx(0.0)


@pytest.mark.parametrize("tilt", [-10.0, 0.0, 12.0])
def test_closed_desk_has_a_panel_that_touches_the_underside(tilt: float) -> None:
    patches = furniture_patches(a_desk(front="closed", tilt_deg=tilt), HERE)
    panel = tuple(patch for patch in patches if patch.name.startswith("desk panel "))
    plate = tuple(patch for patch in patches if patch not in panel)
    assert len(panel) == 6 and len(plate) == 6
    radians = np.radians(tilt)
    edge = 0.74 + 0.8 * np.tan(radians) - 0.03 * np.cos(radians)
    check_closed(panel, 1.8 * 0.02 * (edge - 0.01 * np.tan(radians)))
    underside = named(plate, "desk underside")
    upper = named(panel, "desk panel top").triangles.reshape(-1, 3)
    away = (upper - underside.triangles[0, 0]) @ normal(underside)
    assert away == pytest.approx(0.0, abs=1e-12)
    assert middle(named(panel, "desk panel far side"))[0] == pytest.approx(0.6 - 0.03 * np.sin(radians))


def test_a_desk_below_the_floor_is_refused() -> None:
    with pytest.raises(SceneError, match=r'furniture "desk": top: .* below the floor'):
        furniture_patches(a_desk(top=0.1, tilt_deg=-30.0), HERE)
    with pytest.raises(SceneError, match=r"far edge in the floor"):
        furniture_patches(a_desk(top=0.1, tilt_deg=-30.0, front="solid"), HERE)


def a_screen(**changes: object) -> Screen:
    values = {
        "kind": "screen",
        "at": {"from_front": 0.3, "from_left": 1.5, "up": 0.9},
        "width": 1.2,
        "height": 0.7,
    }
    return Screen.model_validate(values | changes)


def test_screen_face_looks_at_the_seat() -> None:
    patches = furniture_patches(a_screen(), HERE)
    check_closed(patches, 1.2 * 0.7 * 0.04)
    assert {patch.name for patch in patches} == {
        f"screen {side}" for side in ("face", "back", "top", "underside", "left side", "right side")
    }
    assert normal(named(patches, "screen face")) == pytest.approx(np.array([1.0, 0.0, 0.0]))
    assert named(patches, "screen face").triangles[..., 0] == pytest.approx(0.3)
    assert middle(named(patches, "screen left side"))[1] == pytest.approx(0.9)
    assert solid(patches).bounds == pytest.approx(np.array([[0.26, 0.9, 0.9], [0.3, 2.1, 1.6]]))


@given(tilt=st.floats(-45.0, 45.0), turn=st.floats(-180.0, 180.0))
def test_screen_keeps_the_middle_of_its_lower_edge(tilt: float, turn: float) -> None:
    patches = furniture_patches(a_screen(tilt_deg=tilt, turn_deg=turn), HERE)
    check_closed(patches, 1.2 * 0.7 * 0.04)
    face = named(patches, "screen face").triangles.reshape(-1, 3)
    heights = face[:, 2]
    lowest = np.unique(face[heights < heights.mean()].round(9), axis=0)
    assert lowest.mean(axis=0) == pytest.approx(np.array([0.3, 1.5, 0.9]), abs=1e-8)
    direction = normal(named(patches, "screen face"))
    assert direction[2] == pytest.approx(np.sin(np.radians(tilt)), abs=1e-9)
    assert direction[1] == pytest.approx(np.cos(np.radians(tilt)) * np.sin(np.radians(turn)), abs=1e-9)


@pytest.mark.parametrize(
    ("back", "direction"), [("rear", (1, 0)), ("front", (-1, 0)), ("left", (0, -1)), ("right", (0, 1))]
)
def test_sofa_back_is_on_the_side_it_says(back: str, direction: tuple[int, int]) -> None:
    sofa = Sofa.model_validate({"kind": "sofa", "from_front": [3.0, 3.9], "from_left": [1.0, 3.0], "back": back})
    patches = furniture_patches(sofa, HERE)
    seat = tuple(patch for patch in patches if patch.name.startswith("sofa seat"))
    rest = tuple(patch for patch in patches if patch.name.startswith("sofa back"))
    size = 0.9 if back in ("rear", "front") else 2.0
    other = 2.0 if back in ("rear", "front") else 0.9
    check_closed(seat, (size - 0.22) * other * 0.42)
    check_closed(rest, 0.22 * other * 0.80)
    toward = (solid(rest).center_mass - solid(seat).center_mass)[:2]
    assert toward @ np.array(direction) == pytest.approx(np.linalg.norm(toward)) and np.linalg.norm(toward) > 0.4
    assert {patch.owner for patch in patches} == {"sofa"}


def test_a_sofa_that_is_all_back_is_refused() -> None:
    sofa = Sofa.model_validate({"kind": "sofa", "from_front": [3.0, 3.9], "from_left": [1.0, 3.0], "back_depth": 0.9})
    with pytest.raises(SceneError, match=r'furniture "sofa": back_depth: .* leaves no seat'):
        furniture_patches(sofa, HERE)
