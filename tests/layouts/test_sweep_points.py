"""Points: the same figures as the slow whole, impossible layouts with their reason, the same numbers in any process."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.levels import SILENCE_DB
from sim.blueprint.reader import read_scene
from sim.layouts.records import DONE, IMPOSSIBLE
from sim.layouts.workers import chunks, run_points, work_point
from sim.pipeline import trace_scene
from sim.placement.built_scene import build_scene
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.arrivals import list_arrivals
from sim.responses.path_kinds import DiffractedPaths
from tests.studies.sweep.sweep_scenes import STANDS, gathered, planned, same_to_the_bit, swept, table


def test_figures_are_those_of_the_whole_trace() -> None:
    """The scene as it stands, through `trace` without edges, which works out notches and much else besides."""
    task = planned(STANDS, {"left.tilt": "0"})
    plan, figures = task.plan, work_point(task, 0).figures
    assert figures is not None
    results = trace_scene(read_scene(STANDS), order=1, maps=False, edges=False, waves_to_hz=0.0)
    arrivals = [one for one in results.responses.arrivals if one.order == 1 and not one.diffracted]
    assert len(arrivals) == int(np.isfinite(figures.delay_ms).sum())
    for one in arrivals:
        s, f = plan.loudspeakers.index(one.loudspeaker), plan.surfaces.index(one.surfaces[0])
        assert np.array_equal(figures.level_db[s, f], one.level_db)
        assert (figures.worst_db[s, f], figures.delay_ms[s, f]) == (one.worst_db, one.main.delay_ms)
        for part in one.parts:
            d = plan.drivers[s].index(part.driver)
            assert figures.point_m[s, d, f] == pytest.approx(part.points[0], abs=1e-9)
            assert figures.clear_m[s, d, f] > 0.0
            assert figures.hidden[s, d, f] == 0.0


def test_edges_change_nothing_but_levels_of_what_ends_in_the_air() -> None:
    """What a sweep leaves out: walls keep their level to the bit, the desk keeps its delay and its point.

    By how much the desk's worst octave moves is what `docs/how-to/sweep.md` says.
    """
    task = planned(STANDS, {"left.tilt": "0"})
    plan, figures = task.plan, work_point(task, 0).figures
    assert figures is not None
    scene = read_scene(STANDS)
    built = build_scene(scene.blueprint, scene.folder)
    paths, edges = trace_paths(built, 1), DiffractedPaths(built, trace_edges(built, 1))
    ended = set()
    for one in list_arrivals(built, paths, plan.bands, plan.target, edges, notches=False):
        if one.order != 1 or one.diffracted:
            continue
        s, f = plan.loudspeakers.index(one.loudspeaker), plan.surfaces.index(one.surfaces[0])
        assert figures.delay_ms[s, f] == pytest.approx(one.main.delay_ms, abs=1e-9)
        if not np.array_equal(figures.level_db[s, f], one.level_db):
            ended.add(one.surfaces[0])
            assert abs(figures.worst_db[s, f] - one.worst_db) < 1.5
    assert ended == {"desk top"}


def test_early_level_is_the_energy_of_what_arrives_in_the_window() -> None:
    task = planned(STANDS, {"left.tilt": "0,8"})
    for point in (0, 1):
        figures = work_point(task, point).figures
        assert figures is not None
        inside = figures.delay_ms <= task.plan.target.window_ms[1]
        judged = (task.plan.bands.nominal_hz >= 1000) & (task.plan.bands.nominal_hz <= 8000)
        energy = np.where(inside[..., None], 10.0 ** (figures.level_db / 10.0), 0.0).sum(axis=1)[:, judged].mean(axis=1)
        assert figures.early_db == pytest.approx(10.0 * np.log10(energy), abs=1e-9)
        assert figures.over_target_db == pytest.approx(np.where(inside, figures.worst_db, -300).max(axis=1) + 15.0)


def test_layouts_that_cannot_be_are_marked_with_their_reason_and_the_rest_goes_on() -> None:
    task = planned(table(), {"desk.height": "0.7,-1,0.6,90"})
    sweep = swept(task)
    assert sweep.state.tolist() == [DONE, IMPOSSIBLE, DONE, IMPOSSIBLE]
    assert set(sweep.reasons) == {1, 3}
    assert sweep.reasons[1] == "desk.height = -1 m: it cannot have this value; it must be more than 0 m."
    assert "longer than any room" in sweep.reasons[3]


def test_a_desk_through_a_loudspeaker_and_an_ear_in_a_desk_are_impossible() -> None:
    sweep = swept(planned(STANDS, {"desk.height": "0.74,1.1"}))
    assert sweep.state.tolist() == [DONE, DONE]  # behind the desk there is room
    sweep = swept(planned(STANDS, {"left.from_front": "0.42,0.6", "desk.height": "0.74,1.2"}))
    assert sweep.state.tolist() == [DONE, DONE, DONE, IMPOSSIBLE]
    assert "desk" in sweep.reasons[3]
    sweep = swept(planned(table(), {"ear.from_front": "1.7,2.0", "ear.up": "0.69,1.2"}))
    assert sweep.state.tolist() == [IMPOSSIBLE, DONE, DONE, DONE]
    assert sweep.reasons[0].startswith(
        "listener.ear: from_front 1.70 m, from_left 1.50 m, up 0.69 m is inside the desk"
    )


def test_any_number_of_processes_and_any_order_give_the_same_bits() -> None:
    task = planned(STANDS, {"left.tilt": "-4:4:1", "desk.height": "0.7,1.2"})
    points = list(range(task.plan.points))
    plain = swept(task)
    backward = swept(task, points[::-1])
    shared = gathered(task, (one for group in run_points(task, points, 2) for one in group))
    assert DONE in plain.state
    assert same_to_the_bit(plain, backward)
    assert same_to_the_bit(plain, shared)


def test_chunks_hold_every_point_once() -> None:
    assert list(chunks(range(7), 3)) == [(0, 1, 2), (3, 4, 5), (6,)]
    assert list(chunks([], 3)) == []


def test_nothing_that_arrives_is_silence_not_a_hole() -> None:
    sweep = swept(planned(table(), {"left.tilt": "0"}))
    assert (sweep.figures.early_db > SILENCE_DB).all()
    assert not np.isnan(sweep.figures.worst_db).any()
