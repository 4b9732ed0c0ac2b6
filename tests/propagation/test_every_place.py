"""Ears and loudspeakers at round numbers all over the demo rooms: a clear sentence or finite numbers, never a crash.

People write 5 cm and round heights, and so do those who draw rooms: a seat often lies exactly in the plane of a beam,
in line with an edge of the desk, or level with its top.  Every place is tried with one and with two surfaces on the
way, edges included.  Sound is worked out at a few frequencies only, since what may fail is geometry.

A sample by default; `BOUNCEPLAN_PLACES=1000` tries so many places in each of the demo rooms.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import SceneFile, read_scene
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.edges import tracing as edge_paths
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import list_arrivals
from sim.responses.path_kinds import DiffractedPaths

SCENES = sorted(file.parent for file in (Path(__file__).parents[2] / "scenes").glob("*/scene.toml"))
PLACES = int(os.environ.get("BOUNCEPLAN_PLACES", "2"))
FEW_HZ = np.array([100.0, 400.0, 1000.0])
STEP_M = 0.05


def telling(scene: SceneFile) -> list[np.ndarray]:
    """Numbers worth a place along each axis: every 5 cm, and wherever a surface of the scene lies."""
    room = build_scene(scene.blueprint, scene.folder).room
    found = []
    for axis in range(3):
        values = room.triangles[..., axis].ravel()
        grid = np.arange(np.ceil(values.min() / STEP_M), values.max() / STEP_M) * STEP_M
        found.append(np.unique(np.concatenate([grid, values]).round(9)))
    return found


def somewhere(scene: SceneFile, numbers: list[np.ndarray], rng: np.random.Generator) -> BuiltScene | None:
    """The scene with one bare loudspeaker and the ear at any of those numbers; None where the scene refuses it."""
    ear, source = ([float(rng.choice(row)) for row in numbers] for _ in range(2))
    if rng.random() < 0.3:  # in line with each other as well
        axis = int(rng.integers(3))
        source[axis] = ear[axis]
    keys = ("from_front", "from_left", "up")
    one = scene.blueprint.loudspeakers[0].model_copy(
        update={
            "model": "point",
            "standing": "position",
            "stands_on": None,
            "built_into": (),
            "pad": 0.0,
            "acoustic_axis": scene.blueprint.loudspeakers[0].acoustic_axis.model_copy(
                update=dict(zip(keys, source, strict=True))
            ),
        }
    )
    listener = scene.blueprint.listener
    seat = listener.model_copy(
        update={"ear": listener.ear.model_copy(update=dict(zip(keys, ear, strict=True))), "second_seat": None}
    )
    blueprint = scene.blueprint.model_copy(update={"loudspeakers": (one,), "listener": seat, "panels": ()})
    try:
        return build_scene(blueprint, scene.folder)
    except SceneError as refused:
        assert refused.where.startswith(("listener", "loudspeakers"))
        return None


def all_finite(scene: SceneFile, built: BuiltScene, order: int) -> None:
    paths, table = trace_paths(built, order), trace_edges(built, order)
    survey_first_order(built)
    assert np.isfinite(path_gains(built, paths, FEW_HZ)).all()
    assert np.isfinite(table.gains).all() and np.isfinite(table.length_m).all()
    bands, target = octave_bands(), scene.blueprint.target
    reported = list_arrivals(built, paths, bands, target, DiffractedPaths(built, table), notches=False)
    for arrival in reported:
        assert np.isfinite(arrival.level_db).all()
        main = arrival.main
        assert np.isfinite(
            [main.delay_ms, main.departure_deg, main.arrival_azimuth_deg, main.arrival_elevation_deg]
        ).all()


@pytest.fixture
def few_frequencies(monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr(edge_paths, "edge_frequencies", lambda: FEW_HZ)


@pytest.mark.usefixtures("few_frequencies")
@pytest.mark.parametrize("folder", SCENES, ids=lambda folder: folder.name)
def test_no_place_in_a_demo_room_makes_it_fail(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    scene, rng = read_scene(folder), np.random.default_rng(20)
    numbers, tried, refused = telling(scene), 0, 0
    while tried < PLACES:
        built = somewhere(scene, numbers, rng)
        if built is None:
            refused += 1
            continue
        tried += 1
        for order in (1, 2):
            try:
                all_finite(scene, built, order)
            except Exception as fault:
                place = f"ear {built.ears[0].tolist()}, loudspeaker {built.loudspeakers[0].axis_point.tolist()}"
                raise AssertionError(f"{folder.name}, order {order}, {place}: {fault!r}") from fault
    if "BOUNCEPLAN_PLACES" in os.environ:
        with capsys.disabled():
            sys.stdout.write(f"\n{folder.name}: {tried} places traced, {refused} refused\n")


@pytest.mark.usefixtures("few_frequencies")
@pytest.mark.parametrize("from_front", [2.70, 2.50])
def test_a_seat_in_the_plane_of_a_beam(from_front: float) -> None:
    """The very seats, 5 cm from the demo's, at which a reflection in the plane of the ear was divided by nothing."""
    scene = read_scene(next(folder for folder in SCENES if folder.name == "control-room-bridge"))
    ear = scene.blueprint.listener.ear.model_copy(update={"from_front": from_front})
    seat = scene.blueprint.listener.model_copy(update={"ear": ear})
    moved = replace(scene, blueprint=scene.blueprint.model_copy(update={"listener": seat}))
    all_finite(moved, build_scene(moved.blueprint, moved.folder), 2)
