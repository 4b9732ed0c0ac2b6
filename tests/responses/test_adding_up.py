"""What is told on the way to a whole trace: the same paths and edges, and a whole that does not depend on it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim.blueprint.reader import parse_scene
from sim.machine.processes import one_blas_thread
from sim.pipeline import trace_scene
from sim.placement.built_scene import build_scene
from sim.propagation.edges.tracing import trace_edges
from sim.responses.records import Results
from tests.studies.view.view_cases import ROOM

NOWHERE = Path("nowhere")


def test_single_edges_then_all_then_the_whole_which_is_the_same_bits() -> None:
    scene = parse_scene(ROOM, NOWHERE)
    told: list[Results] = []
    whole = trace_scene(scene, waves_to_hz=100.0, maps=False, on_way=told.append)
    alone = trace_scene(scene, waves_to_hz=100.0, maps=False)
    single, edges = told
    assert np.array_equal(whole.responses.response.total, alone.responses.response.total)
    assert [one.level_db.tolist() for one in whole.responses.arrivals] == [
        one.level_db.tolist() for one in alone.responses.arrivals
    ]
    built = build_scene(scene.blueprint, NOWHERE)
    with one_blas_thread():
        assert np.array_equal(single.edge_paths.gains, trace_edges(built, 1, depth="single").gains)
    assert np.array_equal(edges.edge_paths.gains, whole.edge_paths.gains)
    assert len(single.edge_paths) <= len(edges.edge_paths)
    assert [one.paths.length_m.tolist() for one in told] == [whole.paths.length_m.tolist()] * 2
    without = trace_scene(scene, waves_to_hz=0.0, maps=False)
    assert np.array_equal(edges.responses.response.total, without.responses.response.total)
    assert not single.responses.notches and not edges.responses.notches and alone.responses.notches


def test_where_no_waves_are_wanted_all_edges_are_the_whole() -> None:
    told: list[Results] = []
    trace_scene(parse_scene(ROOM, NOWHERE), waves_to_hz=0.0, maps=False, on_way=told.append)
    assert len(told) == 1
