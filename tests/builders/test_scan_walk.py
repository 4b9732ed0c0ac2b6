"""The program that scans invented rooms: what it sees lies on their surfaces, its drift and noise are as said."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.builders.scan_report import _highest, judged, row, summary
from tests.builders.scan_walk import Walk, scanned, write_ply
from tests.builders.scanned_rooms import InventedRoom, cast, invented_rooms

EXACT = Walk(pictures=8, across=24, down=18, noise_m=0.0, drift=0.0, holes=0.0)


@pytest.mark.parametrize("module", ["scan_walk", "scanned_rooms"])
def test_it_shares_nothing_with_what_it_checks(module: str) -> None:
    tree = ast.parse((Path(__file__).parent / f"{module}.py").read_text(encoding="utf-8"))
    names = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
    names += [name.name for node in ast.walk(tree) if isinstance(node, ast.Import) for name in node.names]
    assert not [name for name in names if str(name).startswith("sim")]


def surface_distance(room: InventedRoom, points: np.ndarray) -> np.ndarray:
    """Distance from the nearest plane of the room or face of a box, each plane without end."""
    found = [np.abs(points[:, 2])]
    found += [np.abs(points @ normal - constant) for normal, constant in room.ceilings()]
    for number, (start, _) in enumerate(room.walls):
        found.append(np.abs((points[:, :2] - start) @ room.inward(number)))
    for low, high in (*room.furniture, *room.beams):
        found += [np.abs(points[:, axis] - end[axis]) for axis in range(3) for end in (low, high)]
    return np.min(found, axis=0)


@pytest.mark.parametrize(
    "room", [room for room in invented_rooms(6) if "3" not in room.name], ids=lambda room: room.name
)
def test_without_noise_all_points_lie_on_surfaces(room: InventedRoom) -> None:
    bare = replace(room, blinds=tuple(blind for blind in room.blinds if blind.kind != "mirror"))
    made = scanned(bare, EXACT)
    points = (made.corners - made.shift) @ made.turn
    assert len(points) > 1000
    assert surface_distance(room, points).max() < 1e-9


def test_rays_in_a_box_by_hand() -> None:
    """From (1, 1, 1) in a box of 4 m by 3 m by 2.5 m along each axis, and aslant onto the floor."""
    room = InventedRoom("box", np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]), 2.5)
    towards = np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1], [0.6, 0, -0.8]], dtype=float
    )
    met = cast(room, np.ones(3), towards + 1e-12)
    np.testing.assert_allclose(met.distance, [3.0, 1.0, 2.0, 1.0, 1.5, 1.0, 1.25], rtol=1e-9)
    np.testing.assert_allclose(met.cosine[-1], 0.8)


def test_drift_and_noise_are_as_large_as_said() -> None:
    room = invented_rooms(1)[0]
    still = scanned(room, replace(EXACT, pictures=40))
    drifting = scanned(room, replace(EXACT, pictures=40, drift=0.005))
    slipped = np.linalg.norm(drifting.corners - still.corners, axis=1)
    assert 0.01 < slipped.max() < 0.12
    noisy = scanned(room, replace(EXACT, noise_m=0.02))
    spread = np.linalg.norm(noisy.corners - scanned(room, EXACT).corners, axis=1)
    assert np.sqrt(np.mean(spread**2)) == pytest.approx(0.02, rel=0.3)


def test_a_room_is_judged_by_its_own_planes() -> None:
    assert _highest(invented_rooms(1)[0]) == invented_rooms(1)[0].height


def test_the_report_tells_a_shifted_wall(tmp_path: Path) -> None:
    """A room that is found 5 cm too long is told: the yardstick can fail."""
    from sim.surveying.scan.survey import scan
    from tests.builders.flat_scans import box_room, room_squares, shaken

    room, longer = box_room(4.4, 3.6, 2.5), box_room(4.5, 3.6, 2.5)
    made = shaken(room_squares(longer))
    found = scan(write_ply(made, tmp_path / "longer.ply"))
    right, wrong = judged(longer, made, found), judged(room, made, found)
    assert max(right.wall_m) < 0.005 and right.good
    assert max(wrong.wall_m) == pytest.approx(0.05, abs=0.005) and not wrong.good
    right.untaped_m = right.wall_m
    assert row(right).count("|") == 11
    assert summary([right])[0] == "1 of 1 rooms recovered; 1 meet all targets"
