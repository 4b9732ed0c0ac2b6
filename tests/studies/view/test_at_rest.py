"""Ten random settings at rest: what the page is shown is what `trace` says of the scene file kept of each."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from sim.pipeline import trace, trace_scene
from sim.studies.view.rest import Task, _Desk, _found, _work_out
from tests.room_texts import desk_text, room_text
from tests.studies.view.test_asking import Pipe
from tests.studies.view.test_session import Pages

SOFT = ", ".join(f'{part} = "glass fibre board, 50 mm"' for part in ("walls", "floor", "ceiling"))
"""Soft all round, so that what comes after the window is soon traced."""
TEXT = room_text((3.0, 4.0, 2.5), (1.6, 1.5, 1.2), {"left": (0.6, 0.9, 1.2)}, room=f"materials = {{ {SOFT} }}")
TEXT += "[method]\norder = 1\nwaves_to_hz = 0\n" + desk_text((0.85, 1.2), (0.7, 2.3), 0.74)
STATES = 10


def test_frames_at_rest_have_the_numbers_of_trace(tmp_path: Path) -> None:
    """By the process's own function, in this process; every number of the frame against a trace of the kept file."""
    (tmp_path / "scene.toml").write_text(TEXT)
    pages, random = Pages(tmp_path / "scene.toml"), np.random.default_rng(20)
    shown = set()
    for number in range(STATES):
        pages.move(
            left__from_front=0.6 + random.uniform(-0.2, 0.2),
            left__from_left=0.9 + random.uniform(-0.3, 0.3),
            left__height=1.2 + random.uniform(-0.2, 0.2),
            ear__from_front=1.7 + random.uniform(-0.1, 0.4),
            desk__height=0.72 + random.uniform(-0.05, 0.05),
        )
        pages.session.settle()
        task = pages.tasks[-1]
        assert isinstance(task, Task)
        pipe = Pipe()
        if number == 0:
            _work_out(_Desk(pipe, task))  # type: ignore[arg-type]
        else:  # its last step alone, which is what stays
            pipe.send(_found(task, trace_scene(task.scene), 0.0))
        for found in pipe.sent:
            pages.session.take(found)
        assert found.whole and len(pipe.sent) == (1 if number else 2)

        kept = tmp_path / "kept.toml"
        kept.write_bytes(pages.session.file())
        traced = trace(read_scene(kept))
        assert pages.frame["fresh"] == dict.fromkeys(("reflections", "curve", "maps", "edges"), "now")
        levels = traced.responses.response.levels.whole_db[:, 0, 0]
        assert pages.arrays()["curve"] == pytest.approx(levels, abs=1e-3)
        arrivals = [one for one in traced.responses.arrivals if one.order and np.isfinite(one.worst_db)]
        listed = pages.frame["reflections"]
        assert [one["via"] for one in listed] == [one.via for one in arrivals[: len(listed)]]
        for one, arrival in zip(listed, arrivals, strict=False):
            assert one["worst"] == pytest.approx(arrival.worst_db, abs=0.051)
            assert one["delay"] == pytest.approx(arrival.main.delay_ms, abs=0.0051)
        steps = pages.arrays()["map0"].astype(int)[0]
        surface = next(one for one in traced.responses.maps if one.facet == pages.frame["maps"][0]["facet"])
        band = int(np.argmin(np.abs(np.log(traced.responses.bands.nominal_hz / 2000.0))))
        meant = np.clip((np.maximum(surface.both_db[band], -60.0) + 60.0) * 4.0, 0, 255)
        assert np.abs(steps[tuple(surface.cell.T)] - meant).max() <= 0.51
        shown.add(pages.frame["answer"])
    assert len(shown) > 1
