"""The process at rest: it gives the newest setting whole, drops an older one, and ends when it is told to."""

from __future__ import annotations

import queue
from pathlib import Path

from sim.blueprint.reader import read_scene
from sim.studies.view.rest import Found, Rest, Task
from sim.studies.view.state import State, base_of
from tests.room_texts import room_text
from tests.studies.view.view_cases import room_file


def test_the_newest_setting_is_worked_out_whole_and_an_older_one_dropped(tmp_path: Path) -> None:
    bare = room_text((3.0, 4.0, 2.5), (1.6, 1.5, 1.2), {"left": (0.6, 0.9, 1.2)}, more="[method]\norder = 1\n")
    start = State(base_of(read_scene(room_file(tmp_path, bare))))
    found: queue.Queue[Found] = queue.Queue()
    rest = Rest(found.put)
    try:
        rest.ask(Task(1, start))
        rest.ask(Task(2, start.moved({"left.tilt": 2.0})))
        came = [found.get(timeout=120.0)]
        while not came[-1].whole:
            came.append(found.get(timeout=120.0))
        assert [one.number for one in came] == [2, 2, 2]
        single, edges, whole = (one.snapshot for one in came)
        assert single is not None and edges is not None and whole is not None
        assert [one.fresh["edges"] for one in (single, edges, whole)] == ["old", "now", "now"]
        assert [one.fresh["curve"] for one in (single, edges, whole)] == ["old", "old", "now"]
        assert not single.maps and not edges.maps and whole.maps
        assert all(one.cure for one in whole.reflections)
        rest.ask(None)
        assert rest.alive
    finally:
        rest.close()
    assert not rest.alive
