from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import read_scene
from sim.layouts.figures import layout_figures, surface_names
from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.placement.built_scene import BuiltScene, build_scene
from sim.studies.tolerance.samples import (
    LoudspeakerWithErrors,
    ToleranceTask,
    flow_range,
    sampled_stage,
    stretched,
    with_errors,
    work_sample,
)
from sim.studies.tolerance.uncertainties import uncertainties_of
from tests.studies.compare.layouts import SCENES
from tests.studies.little_room import DESK, little_room


def task_of(scene_name: str = "bedroom-on-stands") -> tuple[ToleranceTask, BuiltScene]:
    scene = read_scene(SCENES / scene_name)
    built = build_scene(scene.blueprint, scene.folder)
    blueprint = scene.blueprint
    uncertainties = uncertainties_of(blueprint, built)
    return ToleranceTask(
        blueprint, scene.folder, uncertainties, blueprint.target, octave_bands(), surface_names(built)
    ), built


def off(task: ToleranceTask, **by: float) -> np.ndarray:
    """Offsets that are zero but for those named; "__" stands for a dot."""
    wanted = {name.replace("__", "."): value for name, value in by.items()}
    assert wanted.keys() <= {one.name for one in task.uncertainties}
    return np.array([wanted.get(one.name, 0.0) for one in task.uncertainties])


@pytest.mark.parametrize("name", ["bedroom-on-stands", "attic-facing-gable", "control-room-built-in"])
def test_a_sample_that_is_off_by_nothing_is_the_scene(name: str) -> None:
    task, built = task_of(name)
    found = work_sample(task, np.zeros(len(task.uncertainties)))
    wanted = layout_figures(built, task.target, task.bands, task.surfaces)
    for each in fields(wanted):
        np.testing.assert_array_equal(getattr(found, each.name), getattr(wanted, each.name))


def test_each_tape_reading_moves_what_it_says() -> None:
    task, built = task_of()
    moved = sampled_stage(task, off(task, ear__from_front=0.01, room__width=0.02, desk__listener_edge=-0.03))
    assert moved.ears[0] - built.ears[0] == pytest.approx([0.01, 0.0, 0.0])
    assert moved.room.triangles[moved.room.owner_of_triangle == 0].reshape(-1, 3).max(axis=0)[1] == pytest.approx(3.42)
    desk = moved.room.triangles[moved.room.owner_of_triangle == moved.room.owner_number("desk")].reshape(-1, 3)
    assert desk.max(axis=0)[0] == pytest.approx(1.27)


def test_the_head_moves_but_nobody_aims_anew() -> None:
    task, built = task_of()
    moved = sampled_stage(task, off(task, head__across=0.15))
    assert moved.ears[0] - built.ears[0] == pytest.approx([0.0, 0.15, 0.0])
    assert moved.loudspeakers[0].toe_in_deg == built.loudspeakers[0].toe_in_deg
    aimed = sampled_stage(task, off(task, ear__from_left=0.15))
    assert aimed.loudspeakers[0].toe_in_deg != built.loudspeakers[0].toe_in_deg


def test_a_sample_that_cannot_be_gives_its_reason() -> None:
    task, _ = task_of()
    assert "outside the room" in str(work_sample(task, off(task, left__up=3.0)))


def test_a_driver_is_off_in_proportion_to_the_angle() -> None:
    model = generic_loudspeaker("two-way")
    reported = {each.name: getattr(model, each.name) for each in fields(Loudspeaker)}
    one_with_errors = LoudspeakerWithErrors(**reported, off_axis_db=(2.0, -1.0))
    ways = np.array([[1.0, 0.0, 0.0], [np.cos(np.pi / 4), np.sin(np.pi / 4), 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])
    ratio = np.abs(one_with_errors.radiation(ways, [500.0], 343.0) / model.radiation(ways, [500.0], 343.0))[:, :, 0]
    assert 20.0 * np.log10(ratio[0]) == pytest.approx([0.0, 1.0, 2.0, 4.0], abs=1e-9)
    assert 20.0 * np.log10(ratio[1]) == pytest.approx([0.0, -0.5, -1.0, -2.0], abs=1e-9)


def test_directivity_reaches_the_figures() -> None:
    """A woofer that radiates 2 dB more at 90 degrees raises what strikes the desk, at most by that."""
    task, _ = task_of()
    f = task.surfaces.index("desk top")
    levels = [work_sample(task, off(task, **{"five-inch woofer": by})).level_db[0, f, 2] for by in (-1.0, 0.0, 1.0)]
    up, down = levels[2] - levels[1], levels[1] - levels[0]
    assert 0.2 < up < 2.0
    assert up == pytest.approx(down, abs=0.1)


def test_absorption_is_off_by_the_larger_of_both_and_stays_a_coefficient() -> None:
    scene = little_room(DESK)
    built = build_scene(scene.blueprint, scene.folder)
    rows = np.tile([0.1, 0.5, 0.9, 0.02, 0.1, 0.1, 0.1, 1.1], (len(built.room.facets), 1))
    built = replace(built, absorption=rows)
    up = with_errors(built, {("absorption", "hard"): 1.0}).absorption[0]
    down = with_errors(built, {("absorption", "hard"): -1.0}).absorption[0]
    assert up == pytest.approx([0.15, 0.6, 0.99, 0.07, 0.15, 0.15, 0.15, 0.99])
    assert down == pytest.approx([0.05, 0.4, 0.72, 0.0, 0.05, 0.05, 0.05, 0.88])
    assert with_errors(built, {}).absorption == pytest.approx(rows)


def test_an_opening_stays_open() -> None:
    scene = little_room()
    built = build_scene(scene.blueprint, scene.folder)
    built = replace(built, absorption=np.ones_like(built.absorption))
    assert (with_errors(built, {("absorption", "hard"): -1.0}).absorption == 1.0).all()


def test_flow_resistivity_stays_in_the_range_of_its_material() -> None:
    """Wool of the library: 10 000 Pa s/m2, from 5 000 to 20 000; a number of one's own by a factor of two."""
    assert flow_range(10_000.0) == (5_000.0, 20_000.0)
    assert flow_range(12_345.0) == (6_172.5, 24_690.0)
    panel = '[[panels]]\nname = "p"\nsurface = "ceiling"\nfrom_front = [0.5, 1.5]\nfrom_left = [1.0, 1.6]\n'
    scene = little_room(panel + 'material = "100 mm wool"\nfixings = "screws"\n')
    built = build_scene(scene.blueprint, scene.folder)
    values = []
    for by in (-1.0, -0.5, 0.5, 1.0):
        (finish,) = with_errors(built, {("flow", "100 mm wool"): by}).finishes
        values.append(finish.layers[0].flow_resistivity_pa_s_m2)
    assert values == pytest.approx([5_000.0, 10_000.0 / np.sqrt(2.0), 10_000.0 * np.sqrt(2.0), 20_000.0])


def test_a_mesh_room_is_stretched_and_what_stands_in_it_is_not() -> None:
    task, built = task_of("attic-facing-gable")
    longer = stretched(built.room, np.array([0.010, 0.0, -0.005]))
    assert [facet.name for facet in longer.facets] == [facet.name for facet in built.room.facets]
    shell = longer.triangles[longer.owner_of_triangle == 0].reshape(-1, 3)
    assert shell.max(axis=0) == pytest.approx([5.41, 4.6, 2.595], abs=1e-6)
    before = built.room.triangles[built.room.owner_of_triangle > 0]
    assert longer.triangles[longer.owner_of_triangle > 0] == pytest.approx(before)
    moved = sampled_stage(task, off(task, room__depth=0.010)).room
    assert moved.triangles.reshape(-1, 3).max(axis=0)[0] == pytest.approx(5.41, abs=1e-6)
