"""Rooms from a box or an outline: closed, facing inward, named, with openings cut in and materials assigned."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.reader import read_scene
from sim.blueprint.schema import Blueprint
from sim.errors import MeshError, SceneError
from sim.geometry.enclosures import Enclosure, room_patches
from sim.geometry.patches import Patch

HERE = Path()


def enclosure(room: dict[str, Any], openings: tuple[dict[str, Any], ...] = ()) -> Enclosure:
    speaker = {"name": "left", "acoustic_axis": {"from_front": 0.7, "from_left": 1.0, "up": 1.2}}
    ear = {"from_front": 2.0, "from_left": 1.7, "up": 1.2}
    scene = {"room": room, "openings": openings, "loudspeakers": [speaker], "listener": {"ear": ear}}
    return room_patches(Blueprint.model_validate(scene), HERE)


def patches_of(room: dict[str, Any], *openings: dict[str, Any]) -> dict[str, Patch]:
    return {patch.name: patch for patch in enclosure(room, openings).patches}


def opening(name: str, kind: str, surface: str, **spans: list[float]) -> dict[str, Any]:
    return {"name": name, "kind": kind, "surface": surface, **spans}


def area(patch: Patch) -> float:
    first, second = patch.triangles[:, 1] - patch.triangles[:, 0], patch.triangles[:, 2] - patch.triangles[:, 0]
    return float(0.5 * np.linalg.norm(np.cross(first, second), axis=1).sum())


def normals(patch: Patch) -> np.ndarray:
    first, second = patch.triangles[:, 1] - patch.triangles[:, 0], patch.triangles[:, 2] - patch.triangles[:, 0]
    crossed = np.cross(first, second)
    return crossed / np.linalg.norm(crossed, axis=1)[:, None]


def check_closed(patches: dict[str, Patch], volume: float) -> None:
    """Closed, consistently wound, and inside out in the sense of solids: the air is inside."""
    corners = np.concatenate([patch.triangles for patch in patches.values()]).reshape(-1, 3)
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    mesh.merge_vertices(digits_vertex=9)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume == pytest.approx(-volume, rel=1e-9)


def corner(from_front: float, from_left: float) -> dict[str, float]:
    return {"from_front": from_front, "from_left": from_left}


BOX = {"box": {"width": 3.4, "depth": 4.2, "height": 2.4}}
ATTIC = {
    "outline": [corner(0.0, 0.0), corner(5.40, 0.0), corner(5.40, 4.60), corner(0.0, 4.60)],
    "height": 2.60,
    "slopes": [
        {"name": "left slope", "wall": "left wall", "starts_at_height": 1.05, "angle_deg": 45.0},
        {"name": "right slope", "wall": "right wall", "starts_at_height": 1.05, "angle_deg": 45.0},
    ],
}
L_SHAPE = {
    "outline": [corner(0, 0), corner(0, 4), corner(3, 4), corner(3, 2.5), corner(5, 2.5), corner(5, 0)],
    "height": 2.5,
}


def test_box_walls_stand_where_their_names_say() -> None:
    patches = patches_of(BOX)
    check_closed(patches, 3.4 * 4.2 * 2.4)
    expected = {
        "front wall": (0, 0.0, (1, 0, 0)),
        "rear wall": (0, 4.2, (-1, 0, 0)),
        "left wall": (1, 0.0, (0, 1, 0)),
        "right wall": (1, 3.4, (0, -1, 0)),
        "floor": (2, 0.0, (0, 0, 1)),
        "ceiling": (2, 2.4, (0, 0, -1)),
    }
    assert set(patches) == set(expected)
    for name, (axis, level, direction) in expected.items():
        assert patches[name].triangles[..., axis] == pytest.approx(level)
        assert normals(patches[name]) == pytest.approx(np.tile(direction, (2, 1)))
        assert patches[name].owner == "room"


def test_attic_with_two_slopes_has_the_volume_of_its_section() -> None:
    patches = patches_of(ATTIC)
    # Section: the full rectangle less two right triangles of 2.60 - 1.05 = 1.55 m, times the depth.
    check_closed(patches, (4.60 * 2.60 - 1.55**2) * 5.40)
    assert area(patches["left wall"]) == pytest.approx(1.05 * 5.40)
    assert area(patches["left slope"]) == pytest.approx(1.55 * np.sqrt(2.0) * 5.40)
    assert area(patches["ceiling"]) == pytest.approx((4.60 - 3.10) * 5.40)
    assert area(patches["front wall"]) == pytest.approx(4.60 * 2.60 - 1.55**2)
    half = np.sqrt(0.5)
    assert normals(patches["left slope"])[0] == pytest.approx(np.array([0.0, half, -half]))
    assert normals(patches["right slope"])[0] == pytest.approx(np.array([0.0, -half, -half]))
    assert patches["left slope"].triangles[..., 1].max() == pytest.approx(1.55)


def test_slopes_may_meet_in_a_ridge_and_leave_no_ceiling() -> None:
    room = ATTIC | {"height": 5.0}
    patches = patches_of(room)
    assert "ceiling" not in patches
    check_closed(patches, (4.60 * 1.05 + 0.5 * 4.60 * 2.30) * 5.40)


def test_hipped_roof_over_a_box() -> None:
    slopes = [
        {"name": f"{side} slope", "wall": f"{side} wall", "starts_at_height": 1.0, "angle_deg": 45.0}
        for side in ("left", "right", "front", "rear")
    ]
    patches = patches_of({"box": {"width": 3.0, "depth": 5.0, "height": 2.0}, "slopes": slopes})
    # Prismatoid of equal slopes: below 1 m upright, above it every level shrinks by its height on each side.
    above = 5.0 * 3.0 - (5.0 + 3.0) + 4.0 / 3.0
    check_closed(patches, 5.0 * 3.0 * 1.0 + above)


def test_l_shape_numbers_the_shorter_walls() -> None:
    patches = patches_of(L_SHAPE)
    check_closed(patches, (5.0 * 2.5 + 3.0 * 1.5) * 2.5)
    assert area(patches["right wall"]) == pytest.approx(3.0 * 2.5)
    assert area(patches["right wall 2"]) == pytest.approx(2.0 * 2.5)
    assert patches["right wall 2"].triangles[..., 1] == pytest.approx(2.5)
    assert patches["rear wall"].triangles[..., 0] == pytest.approx(5.0)
    assert patches["rear wall 2"].triangles[..., 0] == pytest.approx(3.0)


A_SLOPE = {"name": "s", "wall": "left wall", "starts_at_height": 1.0, "angle_deg": 45.0}


def test_either_way_round_gives_the_same_room() -> None:
    turned = L_SHAPE | {"outline": L_SHAPE["outline"][::-1]}  # type: ignore[index]
    first, second = patches_of(L_SHAPE), patches_of(turned)
    assert set(first) == set(second)
    for name in first:
        assert area(first[name]) == pytest.approx(area(second[name]))
        assert normals(first[name])[0] == pytest.approx(normals(second[name])[0])


@pytest.mark.parametrize("backwards", [False, True])
def test_wall_names_belong_to_the_sides_in_order(backwards: bool) -> None:
    outline, names = list(L_SHAPE["outline"]), ["a", "b", "c", "d", "e", "f"]  # type: ignore[call-overload]
    if backwards:
        # Side k of the reversed outline runs between the corners n-1-k and n-2-k.
        outline, names = outline[::-1], [*names[:-1][::-1], names[-1]]
    patches = patches_of(L_SHAPE | {"outline": outline, "wall_names": names})
    assert patches["a"].triangles[..., 0] == pytest.approx(0.0)
    assert patches["b"].triangles[..., 1] == pytest.approx(4.0)
    assert patches["d"].triangles[..., 1] == pytest.approx(2.5)
    assert patches["f"].triangles[..., 1] == pytest.approx(0.0)


def test_openings_become_surfaces_and_keep_the_total_area() -> None:
    plain = patches_of(BOX)
    patches = patches_of(
        BOX,
        opening("garden window", "window", "left wall", from_front=[1.0, 2.2], up=[0.9, 2.1]),
        opening("entrance", "door", "right wall", from_front=[3.0, 3.9], up=[0.0, 2.0]),
        opening("cellar hatch", "hatch", "floor", from_front=[2.0, 2.8], from_left=[2.0, 2.8]),
        opening("passage", "opening", "rear wall", from_left=[0.0, 0.8], up=[0.0, 2.4]),
        opening("glazing", "sliding door", "rear wall", from_left=[1.0, 3.0], up=[0.0, 2.1]),
    )
    check_closed(patches, 3.4 * 4.2 * 2.4)
    assert sum(map(area, patches.values())) == pytest.approx(sum(map(area, plain.values())))
    assert area(patches["garden window"]) == pytest.approx(1.2 * 1.2)
    assert patches["garden window"].triangles[..., 1] == pytest.approx(0.0)
    assert normals(patches["garden window"])[0] == pytest.approx(np.array([0.0, 1.0, 0.0]))
    assert patches["entrance"].triangles[..., 1] == pytest.approx(3.4)
    assert patches["entrance"].triangles[..., 0].min() == pytest.approx(3.0)
    materials = {name: patch.material for name, patch in patches.items()}
    assert materials["garden window"] == "window glass"
    assert materials["entrance"] == "wooden door"
    assert materials["cellar hatch"] == "wood floor"
    assert materials["passage"] == "open"
    assert materials["glazing"] == "heavy glass"


def test_a_wall_that_is_all_window_is_replaced() -> None:
    window = opening("glass", "window", "front wall", from_left=[0.0, 3.4], up=[0.0, 2.4])
    patches = patches_of(BOX | {"materials": {"front wall": "brick"}}, window)
    assert "front wall" not in patches
    check_closed(patches, 3.4 * 4.2 * 2.4)


def test_skylight_in_a_slope() -> None:
    skylight = opening("skylight", "window", "left slope", from_front=[2, 3], up=[1.5, 2.2])
    patches = patches_of(ATTIC, skylight)
    check_closed(patches, (4.60 * 2.60 - 1.55**2) * 5.40)
    assert area(patches["skylight"]) == pytest.approx(1.0 * 0.7 * np.sqrt(2.0))
    by_plan = opening("skylight", "window", "left slope", from_front=[2, 3], from_left=[0.45, 1.15])
    assert area(patches_of(ATTIC, by_plan)["skylight"]) == pytest.approx(0.7 * np.sqrt(2.0))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"surface": "left wall", "from_front": [3.0, 4.5], "up": [1, 2]},
            r'over the edge of "left wall".*from_front 3.00 to 4.50 m.*0.00 to 4.20 m',
        ),
        (
            {"surface": "left wal", "from_front": [3.0, 4.0], "up": [1, 2]},
            r"surface: no surface is called \"left wal\".*\"left wall\"",
        ),
        (
            {"surface": "left wall", "from_front": [3.0, 4.0]},
            r"needs two spans.*it has from_front; give two of from_front, up",
        ),
        (
            {"surface": "left wall", "from_left": [3.0, 4.0], "up": [1, 2]},
            r"from_left: \"left wall\" lies at from_left = 0.000 m",
        ),
    ],
)
def test_openings_that_do_not_fit_are_refused(changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(SceneError, match=sentence):
        patches_of(BOX, {"name": "w", "kind": "window"} | changes)


def test_overlapping_openings_are_refused() -> None:
    window = opening("a", "window", "left wall", from_front=[1.0, 2.0], up=[1.0, 2.0])
    with pytest.raises(SceneError, match=r'openings "b": it overlaps another opening in "left wall"'):
        patches_of(BOX, window, window | {"name": "b", "from_front": [1.9, 2.5]})
    # Touching is allowed.
    check_closed(patches_of(BOX, window, window | {"name": "b", "from_front": [2.0, 2.5]}), 3.4 * 4.2 * 2.4)


def test_materials_by_name_before_group_before_all() -> None:
    room = ATTIC | {
        "materials": {"left wall": "brick", "walls": "concrete", "ceiling": "plywood panelling", "all": "rigid"}
    }
    materials = {name: patch.material for name, patch in patches_of(room).items()}
    assert materials["left wall"] == "brick"
    assert materials["front wall"] == "concrete"
    assert materials["left slope"] == materials["ceiling"] == "plywood panelling"
    assert materials["floor"] == "rigid"
    plain = {name: patch.material for name, patch in patches_of(BOX).items()}
    assert plain["floor"] == "wood floor" and plain["ceiling"] == plain["left wall"] == "plasterboard on studs"


def test_unknown_surface_in_materials_lists_the_surfaces() -> None:
    with pytest.raises(SceneError, match=r'room.materials."back wall".*"rear wall"'):
        patches_of(BOX | {"materials": {"back wall": "brick"}})


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"outline": [corner(0, 0), corner(4, 3), corner(4, 0), corner(0, 3)]},
            r"room.outline: its sides cross",
        ),
        (
            {"outline": [corner(0, 0), corner(4, 0), corner(4, 0), corner(0, 3)]},
            r"room.outline\[1\].*same point",
        ),
        ({"wall_names": ["a", "a", "b", "c", "d", "e"]}, r'two surfaces are called "a"'),
        ({"slopes": [A_SLOPE | {"wall": "x"}]}, r'no wall is called "x"'),
        ({"slopes": [A_SLOPE | {"starts_at_height": 2.5}]}, r"not below the flat ceiling"),
        ({"slopes": [A_SLOPE | {"wall": "right wall 2"}]}, r"goes on 1.50 m behind"),
    ],
)
def test_outlines_that_cannot_be_rooms(change: dict[str, Any], sentence: str) -> None:
    with pytest.raises(SceneError, match=sentence):
        patches_of(L_SHAPE | change)


def test_a_slope_that_cuts_nothing_is_refused() -> None:
    low = {"name": "low", "wall": "left wall", "starts_at_height": 1.0, "angle_deg": 30.0}
    high = {"name": "high", "wall": "left wall", "starts_at_height": 2.0, "angle_deg": 45.0}
    with pytest.raises(SceneError, match=r'"high": the slope cuts nothing'):
        patches_of(BOX | {"slopes": [low, high]})


SPANS = {"left wall": ("from_front", "up"), "rear wall": ("from_left", "up"), "floor": ("from_front", "from_left")}


@settings(deadline=None, max_examples=40)
@given(
    cuts=st.lists(
        st.lists(st.integers(0, 20), min_size=4, max_size=4, unique=True).map(sorted), min_size=2, max_size=2
    ),
    surface=st.sampled_from(sorted(SPANS)),
    taken=st.sets(st.sampled_from([(0, 0), (0, 2), (2, 0), (2, 2), (1, 1)]), min_size=1),
)
def test_openings_anywhere_leave_the_room_closed(
    cuts: list[list[int]], surface: str, taken: set[tuple[int, int]]
) -> None:
    """Rectangles of a random grid, some touching at corners or lying on the edge of their surface."""
    sizes = {"from_front": 4.2, "from_left": 3.4, "up": 2.4}
    first, second = SPANS[surface]
    along = [sizes[first] * cut / 20.0 for cut in cuts[0]]
    across = [sizes[second] * cut / 20.0 for cut in cuts[1]]
    openings = [
        opening(f"{i} {k}", "window", surface, **{first: along[i : i + 2], second: across[k : k + 2]}) for i, k in taken
    ]
    patches = patches_of(BOX, *openings)
    check_closed(patches, 3.4 * 4.2 * 2.4)
    glass = sum((along[i + 1] - along[i]) * (across[k + 1] - across[k]) for i, k in taken)
    whole = sizes[first] * sizes[second]
    left = area(patches[surface]) if surface in patches else 0.0
    assert left == pytest.approx(whole - glass)


@st.composite
def star_outlines(draw: st.DrawFn) -> list[dict[str, float]]:
    """Corners around a middle, each in its own sector, so that no two sides cross."""
    count = draw(st.integers(3, 9))
    fractions = [draw(st.floats(0.05, 0.95)) for _ in range(count)]
    radii = [draw(st.floats(1.0, 6.0)) for _ in range(count)]
    angles = 2.0 * np.pi * (np.arange(count) + np.array(fractions)) / count
    corners = [corner(8 + r * np.cos(a), 8 + r * np.sin(a)) for r, a in zip(radii, angles, strict=True)]
    return corners[::-1] if draw(st.booleans()) else corners


def shoelace(outline: list[dict[str, float]]) -> float:
    x, y = (np.array([each[key] for each in outline]) for key in ("from_front", "from_left"))
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def is_star(outline: list[dict[str, float]]) -> bool:
    """Whether consecutive corners are less than half a turn apart, seen from the middle."""
    angles = np.sort([np.arctan2(each["from_left"] - 8, each["from_front"] - 8) for each in outline])
    gaps = np.diff(np.append(angles, angles[0] + 2.0 * np.pi))
    return bool(gaps.max() < np.pi - 0.05)


@settings(deadline=None, max_examples=60)
@given(outline=star_outlines().filter(is_star), height=st.floats(2.0, 4.0))
def test_any_outline_gives_a_closed_prism(outline: list[dict[str, float]], height: float) -> None:
    patches = patches_of({"outline": outline, "height": height})
    floor = shoelace(outline)
    check_closed(patches, floor * height)
    assert area(patches["floor"]) == pytest.approx(floor)
    assert area(patches["ceiling"]) == pytest.approx(floor)
    assert len(patches) == len(outline) + 2


@settings(deadline=None, max_examples=60)
@given(
    outline=star_outlines().filter(is_star),
    starts=st.lists(st.floats(0.4, 2.0), min_size=1, max_size=3),
    angle=st.floats(15.0, 70.0),
    data=st.data(),
)
def test_slopes_over_any_outline_leave_a_closed_room_below_every_plane(
    outline: list[dict[str, float]], starts: list[float], angle: float, data: st.DataObject
) -> None:
    names = [f"side {index}" for index in range(len(outline))]
    walls = data.draw(
        st.lists(st.sampled_from(names), min_size=len(starts), max_size=len(starts), unique=True)
        if len(starts) <= len(names)
        else st.nothing()
    )
    slopes = [
        {"name": f"slope {wall}", "wall": wall, "starts_at_height": start, "angle_deg": angle}
        for wall, start in zip(walls, starts, strict=True)
    ]
    try:
        patches = patches_of({"outline": outline, "height": 2.6, "wall_names": names, "slopes": slopes})
    except SceneError as refused:
        assert "behind the line" in str(refused) or "cuts nothing" in str(refused)
        return
    # Twin: the volume as floor area times the mean of the lowest plane over a fine grid in the plan.
    corners = np.concatenate([patch.triangles for patch in patches.values()]).reshape(-1, 3)
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    mesh.merge_vertices(digits_vertex=7)
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert -mesh.volume == pytest.approx(grid_volume(outline, names, slopes), rel=0.02)


def grid_volume(outline: list[dict[str, float]], names: list[str], slopes: list[dict[str, Any]]) -> float:
    plan = np.array([[each["from_front"], each["from_left"]] for each in outline])
    low, high = plan.min(axis=0), plan.max(axis=0)
    steps = (high - low) / 200
    axes = [low[k] + steps[k] * (np.arange(200) + 0.5) for k in (0, 1)]
    points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
    ends = np.roll(plan, -1, axis=0)
    odd = np.zeros(len(points), dtype=bool)
    for (x0, y0), (x1, y1) in zip(plan, ends, strict=True):
        crosses = (y0 > points[:, 1]) != (y1 > points[:, 1])
        with np.errstate(divide="ignore", invalid="ignore"):
            odd ^= crosses & (points[:, 0] < x0 + (points[:, 1] - y0) * (x1 - x0) / (y1 - y0))
    inside = points[odd]
    heights = np.full(len(inside), 2.6)
    for slope in slopes:
        index = names.index(slope["wall"])
        along = (ends[index] - plan[index]) / np.linalg.norm(ends[index] - plan[index])
        distance = np.abs((inside - plan[index]) @ np.array([-along[1], along[0]]))
        heights = np.minimum(heights, slope["starts_at_height"] + np.tan(np.radians(slope["angle_deg"])) * distance)
    return float(heights.sum() * steps[0] * steps[1])


def test_a_mesh_room_is_read_once_until_its_file_changes(tmp_path: Path) -> None:
    folder = tmp_path / "attic"
    shutil.copytree(Path(__file__).resolve().parents[2] / "scenes" / "attic-lying", folder)
    scene = read_scene(folder)
    first = room_patches(scene.blueprint, folder)
    assert room_patches(scene.blueprint, folder) is first
    mesh = folder / str(scene.blueprint.room.mesh)
    mesh.write_text(mesh.read_text(encoding="utf-8") + "# written again\n", encoding="utf-8")
    again = room_patches(scene.blueprint, folder)
    assert again is not first
    assert [patch.name for patch in again.patches] == [patch.name for patch in first.patches]
    mesh.unlink()
    with pytest.raises(MeshError, match="no such file"):
        room_patches(scene.blueprint, folder)
