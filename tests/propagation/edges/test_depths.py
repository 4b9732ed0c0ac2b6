"""Edges traced in depths, for a page that cannot wait: single, with mirrors, in turn; and stopped on the way."""

from __future__ import annotations

import multiprocessing
import time
from itertools import count

import numpy as np
import pytest

from sim.machine.processes import one_blas_thread
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.edges.tracing import Depth, EdgesStoppedError, trace_edges
from tests.built_scenes import box, built_scene_of, desk


@pytest.fixture(scope="module")
def built() -> BuiltScene:
    """A desk near the floor, whose edges have mirrors and come in turn."""
    plate = desk((2.0, 2.75), (1.2, 2.6), 0.3, thickness=0.04)
    return built_scene_of(box(5.0, 4.0, 2.6, "plaster"), [(1.4, 1.5, 1.0)], (3.4, 2.0, 1.2), furniture=[plate])


def keys(table: EdgePathTable) -> list[tuple[int, ...]]:
    columns = (table.loudspeaker, table.driver, table.listener, table.owner, table.edge, table.before, table.after)
    return [tuple(row) for row in np.column_stack(columns).tolist()]


def test_each_depth_holds_the_rows_of_the_one_before_it(built: BuiltScene) -> None:
    with one_blas_thread():
        depths: tuple[Depth, ...] = ("single", "mirrored", "full")
        single, mirrored, full = (trace_edges(built, depth=depth) for depth in depths)
    assert 0 < len(single) < len(mirrored) < len(full)
    assert (single.before < 0).all() and (single.after < 0).all() and (mirrored.edge >= 0).all()
    assert (full.edge < 0).any()
    for fewer, more in ((single, mirrored), (mirrored, full)):
        place = {key: row for row, key in enumerate(keys(more))}
        rows = [place[key] for key in keys(fewer)]
        np.testing.assert_array_equal(fewer.gains, more.gains[rows])


def test_it_stops_when_asked_wherever_it_is(built: BuiltScene) -> None:
    asked = count()
    trace_edges(built, stop=lambda: next(asked) < 0)
    times = next(asked)
    assert times > 10
    for last in (0, times // 2, times - 1):
        asked = count()
        with pytest.raises(EdgesStoppedError):
            trace_edges(built, stop=lambda here=asked, end=last: next(here) >= end)


def _trace(built: BuiltScene, event: multiprocessing.synchronize.Event, pipe: object) -> None:
    try:
        with one_blas_thread():
            while True:  # until it is stopped
                table = trace_edges(built, stop=event.is_set)
                pipe.send(table)  # type: ignore[attr-defined]
    except EdgesStoppedError:
        pipe.send("stopped")  # type: ignore[attr-defined]


def test_a_process_of_its_own_gives_the_same_and_stops(built: BuiltScene) -> None:
    context = multiprocessing.get_context("spawn")
    event, (mine, theirs) = context.Event(), context.Pipe()
    process = context.Process(target=_trace, args=(built, event, theirs), daemon=True)
    process.start()
    with one_blas_thread():
        expected = trace_edges(built)
    assert mine.poll(60.0)
    np.testing.assert_array_equal(mine.recv().gains, expected.gains)
    event.set()
    begun = time.monotonic()
    while mine.recv() != "stopped":
        assert time.monotonic() - begun < 20.0
    process.join(20.0)
    assert process.exitcode == 0
