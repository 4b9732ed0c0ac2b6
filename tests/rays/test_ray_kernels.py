"""Rays against slow twins in float64 that look at every triangle, and rays in closed rooms, none of which may escape.

BOUNCEPLAN_RAYS=100 makes every count a hundred times larger, for a night.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numba as nb
import numpy as np
import pytest

from sim.geometry.room import build_room
from sim.pipeline import build
from sim.rays.ray_kernels import addresses_of, any_but, first_between_at, is_hidden_at, nearest, nearest_but
from tests.geometry.furnished import box_patches
from tests.rays.ray_rooms import border_gap_m, closed_rooms, nearest_slowly, rays_of

MORE = int(os.environ.get("BOUNCEPLAN_RAYS", "1"))
SCENES = Path(__file__).resolve().parents[2] / "scenes"
GRAZING_M = 1e-9
"""A ray that passes a side of a triangle this closely may be seen either way."""
ROOMS = closed_rooms(11)
NAMES = [name for name, _, _ in ROOMS]


@nb.njit
def first_hits(points, directions, t_min, t_max, plane_a, owner, rays):  # type: ignore[no-untyped-def]
    places, n = addresses_of(*rays), len(points)
    t, triangle, met = np.empty(n), np.empty(n, np.int64), np.empty(n, np.bool_)
    for i in range(n):
        px, py, pz = points[i]
        dx, dy, dz = directions[i]
        t[i], triangle[i] = nearest_but(places, px, py, pz, dx, dy, dz, t_min, t_max[i], plane_a, -1, owner)
        met[i] = any_but(places, px, py, pz, dx, dy, dz, t_min, t_max[i], -1, plane_a, owner)
    return t, triangle, met


@nb.njit
def chance(state):  # type: ignore[no-untyped-def]
    """Next state and a number -1 .. 1 of a plain congruential generator (Knuth, TAOCP 2, 3.3.4, line 26)."""
    state = state * np.uint64(6364136223846793005) + np.uint64(1442695040888963407)
    return state, np.float64(np.int64(state) >> 11) / 2.0**52


@nb.njit
def escaped(place, rays_to_send, bounces, normals, rays):  # type: ignore[no-untyped-def]
    """How many rays are lost in a closed room, turning at walls by chance or like a mirror, and how far they went.

    The rays carry triangle numbers in place of planes: a ray passes over the triangle it comes from.
    """
    places, lost, way, state = addresses_of(*rays), 0, 0.0, np.uint64(1)
    for _ in range(rays_to_send):
        x, y, z = place
        dx, dy, dz, left = 0.0, 0.0, 0.0, -1
        for _ in range(bounces):
            state, turn = chance(state)
            if left < 0 or turn < 0.0:
                state, dx = chance(state)
                state, dy = chance(state)
                state, dz = chance(state)
            if left >= 0:
                nx, ny, nz = normals[left]
                against = min(0.0, dx * nx + dy * ny + dz * nz)
                dx, dy, dz = dx - 2.0 * against * nx, dy - 2.0 * against * ny, dz - 2.0 * against * nz
            length = np.sqrt(dx * dx + dy * dy + dz * dz)
            dx, dy, dz = dx / length, dy / length, dz / length
            t, left = nearest_but(places, x, y, z, dx, dy, dz, -1e-9, np.inf, left, -1, -1)
            if left < 0:
                lost += 1
                break
            x, y, z, way = x + t * dx, y + t * dy, z + t * dz, way + t
    return lost, way


def in_the_room(name: str, triangles: np.ndarray, place: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, ...]:
    """Starts, directions of mixed length and limits for n rays in the air of a room, some of them along its axes."""
    rng = np.random.default_rng(seed)
    look, none = rng.normal(size=(n, 3)), np.zeros(len(triangles), np.bool_)
    start = np.broadcast_to(place, (n, 3)).copy()
    reach, _ = nearest_slowly(start, look, 0.0, np.full(n, np.inf), triangles, none)
    start += (rng.uniform(0.02, 0.98, n) * reach)[:, None] * look
    look = rng.normal(size=(n, 3)) * 10.0 ** rng.uniform(-3.0, 3.0, (n, 1))
    look[::50] = np.eye(3)[rng.integers(0, 3, len(look[::50]))] * rng.choice([-1.0, 1.0], (len(look[::50]), 1))
    limit = np.where(rng.random(n) < 0.5, np.inf, rng.uniform(0.0, 4.0, n) / np.linalg.norm(look, axis=1))
    return start, look, limit


def disagreements(triangles: np.ndarray, start: np.ndarray, look: np.ndarray, found: tuple, expected: tuple) -> int:
    """Count rays whose nearest differs; each must graze a border of what only one of both has met."""
    with np.errstate(invalid="ignore"):
        same = (np.abs(found[0] - expected[0]) <= 1e-9 * np.abs(expected[0])) | (found[1] == expected[1])
    for i in np.flatnonzero(~same):
        t, k = min((found[0][i], found[1][i]), (expected[0][i], expected[1][i]))
        assert border_gap_m(triangles[k], start[i] + t * look[i]) < GRAZING_M
    return int((~same).sum())


@pytest.mark.parametrize(("name", "triangles", "place"), ROOMS, ids=NAMES)
def test_nearest_and_any_agree_with_looking_at_every_triangle(
    name: str, triangles: np.ndarray, place: np.ndarray
) -> None:
    n = 50_000 * MORE
    start, look, limit = in_the_room(name, triangles, place, n, 1)
    rays = rays_of(triangles)
    found = first_hits(start, look, 0.0, limit, -1, -1, rays)
    expected = nearest_slowly(start, look, 0.0, limit, triangles, np.zeros(len(triangles), np.bool_))
    assert disagreements(triangles, start, look, found, expected) <= 1e-5 * n
    assert ((found[1] >= 0) == np.isfinite(found[0])).all()
    assert (found[2] == (found[1] >= 0)).mean() >= 1.0 - 1e-5
    # a room is closed: what has no limit meets something
    assert (found[1][np.isinf(limit)] >= 0).all()
    assert 0.3 < (found[1] >= 0).mean() < 0.999


@pytest.mark.parametrize("which", ["furnished 0", "crowded 1", "turned", "cut finer"])
def test_planes_and_owners_are_passed_over(which: str) -> None:
    _, triangles, place = ROOMS[NAMES.index(which)]
    rng = np.random.default_rng(5)
    plane, owner = rng.integers(0, 4, len(triangles)), rng.integers(0, 3, len(triangles))
    start, look, limit = in_the_room(which, triangles, place, 4_000, 2)
    for plane_a, body in ((2, -1), (-1, 1), (0, 2)):
        passed = (plane == plane_a) | (owner == body)
        found = first_hits(start, look, 0.0, limit, plane_a, body, rays_of(triangles, plane, owner))
        expected = nearest_slowly(start, look, 0.0, limit, triangles, passed)
        assert disagreements(triangles, start, look, found, expected) == 0
        assert (found[2] == (expected[1] >= 0)).all()
        assert not passed[found[1][found[1] >= 0]].any()


@pytest.mark.parametrize("far", [10.0, 1e4, 1e7])
@pytest.mark.parametrize("which", ["box 0", "l-shaped 1", "furnished 1", "turned and far", "turned slivers"])
def test_rays_from_outside_meet_the_same(which: str, far: float) -> None:
    """The start is moved to where the ray enters; what that rounds away is rounding of the start itself."""
    _, triangles, place = ROOMS[NAMES.index(which)]
    rng = np.random.default_rng(3)
    n = 2_000
    toward = place + rng.normal(size=(n, 3)) * 2.0
    start = toward + far * rng.normal(size=(n, 3))
    look, limit = toward - start, np.full(n, np.inf)
    found = first_hits(start, look, 0.0, limit, -1, -1, rays_of(triangles))
    expected = nearest_slowly(start, look, 0.0, limit, triangles, np.zeros(len(triangles), np.bool_))
    with np.errstate(invalid="ignore"):
        apart_m = np.abs(found[0] - expected[0]) * np.linalg.norm(look, axis=1)
    same = (apart_m <= 1e-9 + 1e-13 * far) | ((found[1] < 0) & (expected[1] < 0))
    assert same.mean() >= 1.0 - 1e-3
    assert 0.1 < (found[1] >= 0).mean() < 1.0


@pytest.mark.parametrize(("name", "triangles", "place"), ROOMS, ids=NAMES)
def test_rays_at_corners_and_sides_do_not_slip_through(name: str, triangles: np.ndarray, place: np.ndarray) -> None:
    """Aimed at every corner, and at many places of every side, from a place that may see it or not."""
    corners = triangles.reshape(-1, 3)
    fraction = np.random.default_rng(4).uniform(0.0, 1.0, (10, len(triangles), 3, 1))
    sides = (triangles + fraction * (np.roll(triangles, -1, axis=1) - triangles)).reshape(-1, 3)
    for aims in (corners, sides):
        look = aims - place
        start = np.broadcast_to(place, look.shape).copy()
        t, triangle, met = first_hits(start, look, 0.0, np.full(len(look), np.inf), -1, -1, rays_of(triangles))
        assert (triangle >= 0).all() and met.all()
        # far from the origin a place on a side is itself rounded off it, and a ray may pass just beside
        assert (t <= 1.0 + 1e-9).all() or (aims is sides and np.abs(place).max() > 100.0)


@pytest.mark.parametrize(("name", "triangles", "place"), ROOMS, ids=NAMES)
def test_no_ray_escapes_from_a_closed_room(name: str, triangles: np.ndarray, place: np.ndarray) -> None:
    """Ten million legs in all (20 rooms, 5 000 rays of 100)."""
    crossed = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normals = crossed / np.linalg.norm(crossed, axis=1)[:, None]
    rays = rays_of(triangles, np.arange(len(triangles)))
    lost, way = escaped(place, 5_000 * MORE, 100, normals, rays)
    assert lost == 0
    assert way > 5_000 * MORE * 100 * 0.01


@pytest.mark.parametrize("scene", ["attic-turned", "bedroom-on-desk", "control-room-bridge", "control-room-built-in"])
def test_no_ray_escapes_from_a_demo_room(scene: str) -> None:
    """Rooms as they are built, with boxes, furniture and cut walls; half a million legs in each."""
    _, built = build(SCENES / scene)
    room = built.room
    normals = np.stack([facet.normal for facet in room.facets])[room.facet_of_triangle]
    _, triangles, _, owner = room.ray_arrays
    place = np.array(built.ears[0], dtype=float)
    lost, _ = escaped(place, 5_000 * MORE, 100, normals, rays_of(triangles, np.arange(len(triangles)), owner))
    assert lost == 0


@nb.njit
def sight(p, q, rays):  # type: ignore[no-untyped-def]
    places = addresses_of(*rays)
    a = first_between_at(places, p[0], p[1], p[2], q[0], q[1], q[2], -1, -1, -1)
    return a, is_hidden_at(places, p[0], p[1], p[2], q[0], q[1], q[2], -1, -1, -1)


def test_the_first_between_two_points() -> None:
    room = build_room(
        box_patches(np.zeros(3), np.array([5.0, 4.0, 3.0]), "room", inward=True)
        + box_patches(np.array([2.0, 1.0, 0.5]), np.array([2.5, 2.0, 1.5]), "box")
    )
    p, q = np.array([1.0, 1.5, 1.0]), np.array([4.0, 1.5, 1.0])
    first, hidden = sight(p, q, room.ray_arrays)
    assert room.facets[room.facet_of_triangle[first]].name == "box near" or first >= 0
    assert room.triangles[first][:, 0] == pytest.approx(2.0) and hidden
    back, hidden = sight(q, p, room.ray_arrays)
    assert room.triangles[back][:, 0] == pytest.approx(2.5) and hidden
    assert sight(p, np.array([1.0, 3.0, 2.0]), room.ray_arrays) == (-1, False)


@nb.njit
def plainly(points, directions, rays):  # type: ignore[no-untyped-def]
    places, p, d, total = addresses_of(*rays), points, directions, 0.0
    for i in range(len(points)):
        total += nearest(places, p[i, 0], p[i, 1], p[i, 2], d[i, 0], d[i, 1], d[i, 2], 0.0, np.inf)[0]
    return total


def test_no_reference_is_counted_for_each_ray() -> None:
    """The reason for addresses: in the loop over rays nothing may touch counters that all threads share."""
    _, triangles, place = ROOMS[0]
    assert plainly(place[None], np.ones((1, 3)), rays_of(triangles)) > 0.0
    code = plainly.inspect_llvm(plainly.signatures[0])
    kernel = code[code.index("\ndefine") :].split("\n}\n")[0]
    assert "plainly" in kernel and "fdiv <8 x double>" in kernel
    assert "NRT_" not in kernel


def test_everything_holds_on_a_plain_processor() -> None:
    """The same vectors in a process that may use only what every x86-64 has (or any ARM): lanes come as pairs."""
    home = Path(__file__).resolve().parents[2]
    environment = {**os.environ, "NUMBA_CPU_NAME": "generic", "NUMBA_CPU_FEATURES": "", "PYTHONPATH": str(home)}
    environment.pop("BOUNCEPLAN_RAYS", None)
    wanted = "numpy or lists or (agree and (furnished or slivers or ellipsoid))"
    files = "test_lanes.py", "test_lane_lists.py", "test_ray_kernels.py", "test_query_kernels.py"
    tests = [str(home / "tests" / "rays" / name) for name in files]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", "-k", wanted, *tests],
        cwd=home,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:]
    assert " passed" in done.stdout
