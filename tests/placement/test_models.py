"""Loudspeakers as scenes tell them: own drivers and measured data, in the room and turned."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from sim.placement.poses import PlacedLoudspeaker, place
from tests.built_scenes import blueprint_of, box, loudspeaker
from tests.loudspeakers.test_polar_files import table

EAR = (2.4, 2.0, 1.2)
ROOM = box(5.0, 4.0, 2.6)
SPEED = 343.2
FREQUENCIES = np.array([250.0, 1000.0, 2200.0, 6000.0])
SIZES = {"width": 0.2, "height": 0.33, "depth": 0.28}
DRIVERS = [
    {"name": "woofer", "diameter": 0.14, "above_bottom": 0.11, "to_hz": 2200.0},
    {"name": "tweeter", "diameter": 0.025, "above_bottom": 0.26, "from_hz": 2200.0},
]
MODELS: dict[str, dict[str, Any]] = {
    "own": {"kind": "own drivers", **SIZES, "drivers": DRIVERS},
    "coaxial": {"kind": "coaxial"},
    "measured": {"kind": "measured", "file": "box.csv", **SIZES, "axis_above_bottom": 0.25},
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("scene")
    table(made / "box.csv")
    return made


def placed(model: str, folder: Path, across: float = 1.0, **more: Any) -> PlacedLoudspeaker:
    record = loudspeaker((0.8, across, 1.2), "left", model=model, **more)
    blueprint = blueprint_of(ROOM, [record], EAR, models={model: MODELS[model]})
    return place(blueprint, blueprint.loudspeakers[0], 0.0, folder)


def toward(one: PlacedLoudspeaker, point: np.ndarray) -> np.ndarray:
    """Sum of all drivers at a point of the room, each over its own way, (f,)."""
    total = np.zeros(len(FREQUENCIES), dtype=complex)
    for number, source in enumerate(one.driver_points):
        way = point - source
        length = float(np.linalg.norm(way))
        sent = one.model.driver_radiation(number, one.to_box(way[None] / length), FREQUENCIES, SPEED)[0]
        total += sent * np.exp(-2j * np.pi * FREQUENCIES / SPEED * length) / length
    return total


def test_own_drivers_stand_where_the_ruler_says(folder: Path) -> None:
    one = placed("own", folder, toe_in_deg=0.0)
    assert one.axis_point == pytest.approx([0.8, 1.0, 1.2])  # at the tweeter, which plays highest
    assert one.driver_points == pytest.approx(np.array([[0.8, 1.0, 1.05], [0.8, 1.0, 1.2]]))
    assert one.corners is not None
    assert one.corners[:, 2].min() == pytest.approx(1.2 - 0.26)


def test_measured_data_leave_from_the_axis_point(folder: Path) -> None:
    one = placed("measured", folder)
    assert [driver.name for driver in one.model.drivers] == ["whole cabinet"]
    assert one.driver_points == pytest.approx(one.axis_point[None])
    assert one.corners is not None
    assert one.corners[:, 2].max() == pytest.approx(1.2 + 0.08)


point = st.tuples(st.floats(1.5, 4.0), st.floats(0.2, 3.8), st.floats(0.2, 2.4)).map(np.array)


@pytest.mark.parametrize("model", MODELS)
@settings(deadline=None, max_examples=15)
@given(where=point, roll=st.floats(-180.0, 180.0), tilt=st.floats(-15.0, 15.0))
def test_four_quarter_rolls_return_the_start(
    model: str, folder: Path, where: np.ndarray, roll: float, tilt: float
) -> None:
    start = toward(placed(model, folder, roll=roll, tilt_deg=tilt), where)
    after = toward(placed(model, folder, roll=roll + 360.0, tilt_deg=tilt), where)
    assert after == pytest.approx(start, abs=1e-9)
    turned = placed(model, folder, roll=roll, tilt_deg=tilt).rotation
    quarter = placed(model, folder, roll=roll + 90.0, tilt_deg=tilt).rotation
    assert turned.T @ quarter @ turned.T @ quarter @ turned.T @ quarter @ turned.T @ quarter == pytest.approx(
        np.eye(3), abs=1e-9
    )


@pytest.mark.parametrize("model", MODELS)
@settings(deadline=None, max_examples=15)
@given(where=point, toe_in=st.floats(-20.0, 60.0), tilt=st.floats(-15.0, 15.0), roll=st.floats(-180.0, 180.0))
def test_left_and_right_mirror_each_other(
    model: str, folder: Path, where: np.ndarray, toe_in: float, tilt: float, roll: float
) -> None:
    """A box that is its own mirror image: what the left one sends to a point the right one sends to its mirror."""
    left = placed(model, folder, toe_in_deg=toe_in, tilt_deg=tilt, roll=roll)
    right = placed(model, folder, across=3.0, toe_in_deg=toe_in, tilt_deg=tilt, roll=-roll)
    mirrored = where * [1.0, -1.0, 1.0] + [0.0, 4.0, 0.0]
    assert toward(right, mirrored) == pytest.approx(toward(left, where), abs=1e-9)


@settings(deadline=None, max_examples=15)
@given(where=point, roll=st.floats(-180.0, 180.0), tilt=st.floats(-15.0, 15.0), aside=st.floats(-0.03, 0.03))
def test_mirrored_boxes_in_mirrored_poses_are_mirror_images(
    folder: Path, where: np.ndarray, roll: float, tilt: float, aside: float
) -> None:
    """Boxes that are not their own mirror images: a tweeter off the middle, a plate that was turned."""
    pairs = [
        [
            {**MODELS["own"], "drivers": [DRIVERS[0], {**DRIVERS[1], "right_of_middle": sign * aside}]}
            for sign in (1.0, -1.0)
        ],
        [{"kind": "three-way", "plate_turn_deg": sign * 90.0} for sign in (1.0, -1.0)],
    ]
    mirrored = where * [1.0, -1.0, 1.0] + [0.0, 4.0, 0.0]
    for models in pairs:
        heard = []
        for model, across, sign, place_of in zip(models, (1.0, 3.0), (1.0, -1.0), (where, mirrored), strict=True):
            record = loudspeaker((0.8, across, 1.2), "one", model="one", roll=sign * roll, tilt_deg=tilt)
            blueprint = blueprint_of(ROOM, [record], EAR, models={"one": model})
            heard.append(toward(place(blueprint, blueprint.loudspeakers[0], 0.0, folder), place_of))
        assert heard[1] == pytest.approx(heard[0], abs=1e-9)


@settings(deadline=None, max_examples=15)
@given(where=point, roll=st.floats(-180.0, 180.0))
def test_a_coaxial_in_a_wall_does_not_notice_roll_and_a_two_way_does(
    folder: Path, where: np.ndarray, roll: float
) -> None:
    """In a wall; the edges of a box turn with it (`test_gains`)."""
    upright, rolled = (placed("coaxial", folder, roll=r) for r in (0.0, roll))
    upright, rolled = (replace(one, model=replace(one.model, flush=True)) for one in (upright, rolled))
    assert toward(rolled, where) == pytest.approx(toward(upright, where), abs=1e-9)
    off_axis = np.array([1.8, 0.42, 1.2])  # 30 degrees, near the null of drivers 0.15 m apart
    upright, lying = (np.abs(toward(placed("own", folder, roll=r, toe_in_deg=0.0), off_axis)) for r in (0.0, 90.0))
    assert 20.0 * np.log10(upright[2] / lying[2]) > 10.0  # at crossover


def test_data_turn_with_the_box(folder: Path) -> None:
    """The table beams more upright than across: lying on its side it does so across."""
    across, above = np.array([1.8, 2.0, 1.2]), np.array([1.8, 1.0, 2.2])
    upright, lying = (placed("measured", folder, roll=roll, toe_in_deg=0.0) for roll in (0.0, 90.0))
    assert toward(lying, across) == pytest.approx(toward(upright, above), abs=1e-9)
    assert abs(toward(upright, across)[1]) > 1.1 * abs(toward(upright, above)[1])


def test_assumptions_of_data_are_among_the_notes_of_the_stage(folder: Path) -> None:
    blueprint = blueprint_of(
        ROOM, [loudspeaker((0.8, 1.0, 1.2), model="measured")], EAR, models={"measured": MODELS["measured"]}
    )
    notes = [note for note in build_scene(blueprint, folder).notes if "box.csv" in note]
    assert notes[0].startswith("measured (box.csv): it holds no phase")
    assert notes[-1].startswith("measured (box.csv): all sound leaves from the acoustic axis point")
    assert len(notes) == 4


def test_a_waveguide_is_said_to_be_an_approximation(folder: Path) -> None:
    models = {
        "generic": {"kind": "two-way", "waveguide_diameter": 0.06},
        "mine": {**MODELS["own"], "drivers": [DRIVERS[0], {**DRIVERS[1], "waveguide_diameter": 0.06}]},
    }
    for name in models:
        blueprint = blueprint_of(ROOM, [loudspeaker((0.8, 1.0, 1.2), model=name)], EAR, models=models)
        assert (
            f"{name}: the waveguide of its tweeter is approximated by an effective radius at each frequency"
            in build_scene(blueprint, folder).notes
        )


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"drivers": [{**DRIVERS[0]}, {**DRIVERS[1], "polarity": "inverted"}]}, "cancel each other on the axis at 2"),
        ({"drivers": [{**DRIVERS[0]}, {**DRIVERS[1], "above_bottom": 0.18}]}, "overlap by 1[23] mm"),
        ({"drivers": [{**DRIVERS[0]}, {**DRIVERS[1], "name": "woofer"}]}, "two drivers of 'mine' are called woofer"),
        ({"drivers": [{**DRIVERS[0], "diameter": 0.21}]}, "sticks out of its baffle by 5 mm"),
        ({"drivers": [{**DRIVERS[0], "file": "none.csv"}]}, "no file"),
    ],
)
def test_what_cannot_be_built_is_told(folder: Path, change: dict[str, Any], words: str) -> None:
    record = loudspeaker((0.8, 1.0, 1.2), model="mine")
    blueprint = blueprint_of(ROOM, [record], EAR, models={"mine": {**MODELS["own"], **change}})
    with pytest.raises(SceneError, match=words):
        build_scene(blueprint, folder)
