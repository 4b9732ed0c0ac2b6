"""Tops that people have: soft, perforated, split, with cut-outs, with a riser on them."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.acoustics.layers import PerforatedSheet
from sim.acoustics.materials import find_material
from sim.acoustics.resonators import lost_through
from sim.blueprint.furniture.desk import Desk
from sim.blueprint.reader import parse_scene
from sim.errors import SceneError
from sim.geometry.meshes import furniture_patches
from sim.pipeline import build
from sim.placement.collisions import standing_solids
from tests.built_scenes import NOWHERE
from tests.room_texts import room_text


def desk(**more: Any) -> Desk:
    return Desk.model_validate({"kind": "desk", "from_front": [0.6, 1.4], "from_left": [1.0, 2.8], "top": 0.74} | more)


def area_and_volume(piece: Desk) -> tuple[float, float]:
    """Area of all top faces, and the volume by the divergence theorem."""
    area = volume = 0.0
    for patch in furniture_patches(piece, NOWHERE):
        a, b, c = patch.triangles.transpose(1, 0, 2)
        normals = np.cross(b - a, c - a)
        volume += float((a * normals).sum()) / 6.0
        area += float(np.linalg.norm(normals, axis=1).sum()) / 2.0 if patch.name.endswith(" top") else 0.0
    return area, volume


@pytest.mark.parametrize(
    ("more", "missing"),
    [
        ({}, 0.0),
        ({"split": [1.7, 2.1]}, 0.8 * 0.4),
        ({"cut_outs": [{"from_front": [0.5, 0.8], "from_left": [1.5, 2.0]}]}, 0.2 * 0.5),
        ({"cut_outs": [{"from_front": [0.8, 1.0], "from_left": [1.5, 2.0]}]}, 0.2 * 0.5),
        ({"split": [1.7, 2.1], "cut_outs": [{"from_front": [1.2, 1.4], "from_left": [1.6, 1.9]}]}, 0.32 + 0.2 * 0.1),
    ],
)
@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_gaps_take_their_area_and_nothing_else(more: dict[str, Any], missing: float, turn_deg: float) -> None:
    area, volume = area_and_volume(desk(turn_deg=turn_deg, **more))
    assert area == pytest.approx(0.8 * 1.8 - missing)
    assert volume == pytest.approx(0.03 * (0.8 * 1.8 - missing))


def test_parts_of_a_tilted_top_lie_in_one_plane() -> None:
    piece = desk(tilt_deg=6.0, cut_outs=[{"from_front": [0.8, 1.0], "from_left": [1.5, 2.0]}])
    tops = [
        patch.triangles.reshape(-1, 3) for patch in furniture_patches(piece, NOWHERE) if patch.name.endswith(" top")
    ]
    assert len(tops) == 4
    for corner in np.concatenate(tops):
        assert corner[2] == pytest.approx(0.74 + (1.4 - corner[0]) * np.tan(np.radians(6.0)))


def test_over_a_gap_nothing_stands() -> None:
    piece = desk(split=[1.7, 2.1])
    assert piece.beyond_m(1.0, 1.9) == pytest.approx(0.2)
    assert piece.beyond_m(1.0, 1.5) == pytest.approx(-0.2, abs=0.21)
    assert piece.beyond_m(1.0, 1.5) < 0.0


def test_a_desk_that_moves_takes_its_gaps_along() -> None:
    piece = desk(split=[1.7, 2.1], cut_outs=[{"from_front": [0.8, 1.0], "from_left": [1.1, 1.2]}])
    moved = piece.moved((0.1, 0.2, 0.0))
    assert moved is not None and moved.split == pytest.approx((1.9, 2.3))
    assert moved.cut_outs[0].from_front == pytest.approx((0.9, 1.1))
    assert area_and_volume(moved) == pytest.approx(area_and_volume(piece))


def scene(more: str) -> Any:
    text = "[[furniture]]\nkind = 'desk'\nfrom_front = [0.8, 1.4]\nfrom_left = [0.9, 2.5]\ntop = 0.74\n" + more
    room = room_text((3.4, 4.2, 2.4), (1.7, 1.7, 1.2), {"left": (0.6, 1.0, 1.2)}, more=text)
    read = parse_scene(room, Path("nowhere"))
    return read, build(read)[1]


def test_a_soft_top_is_soft_on_its_upper_face_alone() -> None:
    _, built = scene('top_material = "rug"\n')
    found = {facet.name: row for facet, row in zip(built.room.facets, built.absorption, strict=True)}
    assert tuple(found["desk top"]) == find_material("carpet on concrete").absorption
    assert tuple(found["desk underside"]) == find_material("mdf or veneered board").absorption
    assert any('"rug" is taken as "carpet on concrete"' in note for note in built.notes)


def test_a_perforated_top_returns_what_its_holes_leave() -> None:
    read, built = scene('thickness = "3 mm"\nperforated = { hole = "5 mm", pitch = "8 mm" }\n')
    found = {facet.name: row for facet, row in zip(built.room.facets, built.absorption, strict=True)}
    sheet = PerforatedSheet.with_pitch(0.003, 0.005, 0.008)
    assert tuple(found["desk top"]) == tuple(found["desk underside"]) == lost_through(sheet, Air(20.0))
    assert any("what goes through its holes is taken as lost" in note for note in built.notes)
    assert [one.name for one in standing_solids(read.blueprint, read.folder)] == []


def test_holes_lose_less_the_higher_and_the_fewer() -> None:
    # Mass law of a sheet in free air, |R|^2 = x^2 / (1 + x^2), x = omega m cos(angle) / (2 rho c) (Kuttruff, Room
    # Acoustics; from memory): at 63 Hz nearly nothing comes back, and small shares of holes return nearly all at 8 kHz.
    open_top = lost_through(PerforatedSheet.with_pitch(0.003, 0.005, 0.008), Air(20.0))
    dense = lost_through(PerforatedSheet.with_pitch(0.003, 0.002, 0.02), Air(20.0))
    assert all(a >= b for a, b in itertools.pairwise(open_top))
    assert open_top[0] > 0.99 and dense[-1] < 0.05
    assert (np.array(open_top) > np.array(dense)).all()


def test_the_absorption_is_the_integral_over_angles_written_out() -> None:
    # Slow holes of 10 mm in 1 mm: mass rho (t + 0.85 d psi) / share alone, friction being next to nothing.
    from sim.acoustics.resonators import sheet_impedance

    air, sheet = Air(20.0), PerforatedSheet(0.001, 0.01, 0.2)
    impedance = complex(sheet_impedance(sheet, np.array([1000.0]), air)[0])
    steps = [(k + 0.5) * np.pi / 2.0 / 4000 for k in range(4000)]
    total = 0.0
    for angle in steps:
        z = impedance * np.cos(angle)
        total += (1.0 - abs(z / (z + 2.0 * air.density_kg_m3 * air.speed_of_sound_m_s)) ** 2) * np.sin(2.0 * angle)
    assert lost_through(sheet, air)[4] == pytest.approx(total * np.pi / 2.0 / 4000, rel=2e-3)


def test_a_riser_stands_on_a_desk_and_bears_a_monitor() -> None:
    riser = "[[furniture]]\nkind = 'riser'\nfrom_front = [0.8, 1.1]\nfrom_left = [0.9, 2.5]\nup = [0.74, 0.9]\n"
    desk_text = "[[furniture]]\nkind = 'desk'\nfrom_front = [0.8, 1.4]\nfrom_left = [0.9, 2.5]\ntop = 0.74\n"
    room = room_text((3.4, 4.2, 2.4), (1.7, 1.7, 1.2), {}, more=desk_text + riser)
    one = '[[loudspeakers]]\nname = "left"\nstanding = "desk"\nstands_on = "riser"\n'
    one += "acoustic_axis = { from_front = 1.1, from_left = 1.2 }\n"
    _, built = build(parse_scene(room + one, Path("nowhere")))
    assert built.loudspeakers[0].corners is not None
    assert built.loudspeakers[0].corners[:, 2].min() == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ("split = [0.5, 3.0]\n", "leave nothing of its top"),
        ('front = "solid"\nsplit = [1.5, 1.8]\n', "gaps in the top and front"),
        ("perforated = { hole = 0.008, pitch = 0.005 }\n", "its holes meet"),
        ('top_material = "rug"\nperforated = { hole = 0.005, pitch = 0.008 }\n', "perforated and top_material"),
        ('top_material = "ruug"\n', "top_material: no material is called"),
        ("cut_outs = [{ from_front = [1.0, 0.9], from_left = [1, 2] }]\n", "cut_outs"),
    ],
)
def test_what_cannot_be_is_one_sentence(more: str, sentence: str) -> None:
    with pytest.raises(SceneError) as fault:
        scene(more)
    assert sentence in str(fault.value) and "\n" not in str(fault.value)
