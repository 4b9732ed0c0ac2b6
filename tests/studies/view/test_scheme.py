"""What stays is told once: scheme and frame together hold everything, a frame alone only what differs."""

from __future__ import annotations

import base64
import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.studies.view.handles import handles
from sim.studies.view.scheme import STANDS, _runs
from sim.studies.view.snapshot import places_of
from tests.studies.view.test_session import Pages
from tests.studies.view.view_cases import room_file


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Pages:
    return Pages(room_file(tmp_path_factory.mktemp("room")))


def rebuilt(pages: Pages, name: str) -> np.ndarray:
    """An array as the page puts it together: what stands, and over it the rows that a frame says lie elsewhere."""
    text, arrays = pages.session.scheme.message["stands"][name], pages.arrays()
    wide = arrays[name].shape[1:]
    whole = np.frombuffer(base64.b64decode(text), "<f4").reshape(-1, *wide).copy()
    at = 0
    for start, count in pages.frame["moved"][name]:
        whole[start : start + count] = arrays[name][at : at + count]
        at += count
    assert at == len(arrays[name])
    return whole


@pytest.mark.parametrize(
    ("field", "value"), [("left.tilt", 9.0), ("desk.height", 0.7), ("left.from_left", 1.0), ("ear.from_front", 1.7)]
)
def test_scheme_and_frame_hold_the_whole_room(pages: Pages, field: str, value: float) -> None:
    number = pages.session.scheme.number
    frame = pages.say("move", values={field: value}, done=True)
    assert pages.session.scheme.number == number, "nothing new is there: no new scheme"
    built = pages.session.frame.built
    places = places_of(built)
    for name in STANDS:
        assert rebuilt(pages, name) == pytest.approx(places[name], abs=1e-5)
        assert len(pages.arrays()[name]) < len(places[name]), "the room itself is not told again"
    meant = handles(pages.session.history.now.scene.blueprint, built, {})
    for one, other in zip(frame["handles"], meant, strict=True):
        assert one["at"] == pytest.approx(other["at"], abs=1e-5)
        assert set(one) == set(other)
        for field_seen, field_meant in zip(one["fields"], other["fields"], strict=True):
            assert field_seen["value"] == pytest.approx(field_meant["value"], abs=1e-5)
            assert {key: value for key, value in field_seen.items() if key != "value"} == {
                key: value for key, value in field_meant.items() if key != "value"
            }


def test_what_comes_or_goes_is_a_new_scheme_that_is_told_before_its_frame(tmp_path: Path) -> None:
    pages = Pages(room_file(tmp_path))
    before = pages.session.scheme.number
    frame = pages.say("take", name="side")
    (told,) = [one for one in pages.told if one["kind"] == "scheme"]
    assert told["scheme"] == before + 1 == frame["scheme"]
    assert told["panels"] == [] and not any(one["name"] == "side" for one in told["things"])
    assert pages.say("undo")["scheme"] == before + 2


@given(st.sets(st.integers(0, 40)))
def test_runs_are_the_rows(rows: set[int]) -> None:
    runs = _runs(np.array(sorted(rows), dtype=np.int64))
    assert [row for start, count in runs for row in range(start, start + count)] == sorted(rows)
    assert all(a + n < b for (a, n), (b, _) in itertools.pairwise(runs)), "as few as there can be"
