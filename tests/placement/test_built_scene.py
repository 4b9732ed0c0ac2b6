"""The built scene: everything in its place, volumes and materials."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.materials import find_material
from sim.errors import SceneError
from sim.placement.built_scene import enclosed_volume_m3
from tests.built_scenes import box, built_scene_of, desk, loudspeaker, prism
from tests.geometry.furnished import box_patches, prism_patches, star_outline

EAR = (2.6, 2.0, 1.2)


def test_what_a_stage_holds() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6, {"floor": "carpet on felt"}),
        [loudspeaker((1.0, 1.2, 1.2), "left", model="two-way"), loudspeaker((1.0, 2.8, 1.2), "right")],
        EAR,
        furniture=[desk((1.3, 2.0), (1.0, 3.0), 0.74)],
        listener={"second_seat": {"name": "sofa", "ear": {"from_front": 4.0, "from_left": 2.0, "up": 1.0}}},
        air={"temperature_c": 25.0},
    )
    assert built.room.owners == ("room", "desk", "left loudspeaker")
    assert [one.name for one in built.loudspeakers] == ["left", "right"]
    assert built.ears.tolist() == [[2.6, 2.0, 1.2], [4.0, 2.0, 1.0]]
    assert built.listener_names == ("ear", "sofa")
    assert built.head_box.tolist() == [0.30, 0.30, 0.10]
    assert built.volume_m3 == pytest.approx(52.0)
    assert built.air.speed_of_sound_m_s == pytest.approx(346.114, abs=1e-3)
    rows = dict(zip([facet.name for facet in built.room.facets], built.absorption.tolist(), strict=True))
    printed = find_material("carpet on felt").absorption
    assert rows["floor"] == pytest.approx(printed)
    assert rows["ceiling"] == [0.0] * 8
    assert rows["desk top"] == [0.0] * 8


def test_a_scenes_own_material_goes_before_the_library() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6, {"floor": "brick"}), [(1.0, 1.2, 1.2)], EAR, absorption={"brick": [0.5] * 8}
    )
    (floor,) = built.room.facet_numbers("floor")
    assert built.absorption[floor].tolist() == [0.5] * 8


def test_drivers_that_do_not_fit_are_told_with_the_loudspeaker() -> None:
    models = {"odd": {"kind": "two-way", "spacing": 0.01}}
    with pytest.raises(SceneError) as raised:
        built_scene_of(box(5.0, 4.0, 2.6), [loudspeaker((1.0, 1.2, 1.2), model="odd")], EAR, models=models)
    assert raised.value.where == "loudspeakers[0]"
    assert "overlap" in raised.value.found


@given(st.integers(0, 2**32 - 1), st.integers(4, 8), st.booleans())
def test_enclosed_volume_is_floor_area_times_height(seed: int, corners: int, flipped: bool) -> None:
    outline = star_outline(np.random.default_rng(seed), corners, convex=False)
    triangles = np.concatenate([patch.triangles for patch in prism_patches(outline, 2.5)])
    x, y = outline.T
    area = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert enclosed_volume_m3(triangles[:, ::-1] if flipped else triangles) == pytest.approx(2.5 * area)


def test_furniture_takes_nothing_from_the_volume() -> None:
    assert box_patches(np.zeros(3), np.ones(3), "room")
    built = built_scene_of(
        prism([(0.0, 0.0), (0.0, 4.0), (5.0, 4.0), (5.0, 0.0)], 2.6),
        [(1.0, 1.2, 1.2)],
        EAR,
        furniture=[desk((1.3, 2.0), (1.0, 3.0), 0.74, front="solid")],
    )
    assert built.volume_m3 == pytest.approx(52.0)
