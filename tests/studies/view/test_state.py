"""Settings: what a drag gives is rounded before it is computed, partners and what is carried follow, steps go back."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.blueprint.reader import read_scene
from sim.errors import SceneError
from sim.layouts.fields import find_field
from sim.studies.view.carried import number_in
from sim.studies.view.state import History, State, base_of, refused_by, snapped
from tests.studies.view.view_cases import ROOM, room_file


@pytest.fixture
def start(tmp_path: Path) -> State:
    return State(base_of(read_scene(room_file(tmp_path))))


def at(state: State, name: str) -> float:
    return number_in(state.scene.blueprint, name)


@pytest.mark.parametrize(
    ("name", "units", "fine", "given", "kept"),
    [
        ("left.from_front", "m", False, 0.6237, 0.625),
        ("left.from_front", "m", True, 0.6237, 0.624),
        ("left.from_front", "in", False, 0.6237, 24.5 * 0.0254),
        ("left.from_front", "ft", True, 0.6237, (24 + 9 / 16) * 0.0254),
        ("left.tilt", "m", False, 3.3, 3.5),
        ("left.tilt", "in", True, 3.34, 3.3),
        ("left.tilt", "m", False, -0.1, 0.0),
    ],
)
def test_a_drag_is_rounded_to_marks_of_the_tape(
    start: State, name: str, units: str, fine: bool, given: float, kept: float
) -> None:
    field = find_field(start.scene.blueprint, name, tied=False)
    assert snapped(field, given, units, fine=fine) == pytest.approx(kept, abs=1e-6)


def test_a_partner_moves_as_far_in_its_mirror_image(start: State) -> None:
    moved = start.moved({"left.from_left": 1.0, "left.from_front": 0.7})
    assert at(moved, "right.from_left") == pytest.approx(2.0)
    assert at(moved, "right.from_front") == pytest.approx(0.7)
    alone = moved.moved({"left.from_left": 0.9}, alone=True)
    assert at(alone, "right.from_left") == pytest.approx(2.0)
    both = alone.moved({"right.from_left": 2.05})
    assert at(both, "left.from_left") == pytest.approx(0.85), "what was not symmetric stays so"


def test_toe_in_aimed_at_the_ear_becomes_a_number_and_goes_back(start: State) -> None:
    turned = start.moved({"left.toe_in": 20.0})
    assert (at(turned, "left.toe_in"), at(turned, "right.toe_in")) == (20.0, 20.0)
    aimed = turned.moved({"left.toe_in": "ear"})
    assert aimed.scene.blueprint.loudspeakers[1].toe_in_deg == "ear"
    assert aimed == start


def test_a_desk_takes_along_what_stands_on_it(start: State) -> None:
    lower = start.moved({"desk.height": 0.70})
    for name in ("left", "right"):
        assert at(lower, f"{name}.height") == pytest.approx(0.98)
        assert at(lower, f"{name}.pad") == pytest.approx(0.06)
    assert at(lower, "screen.at.up") == pytest.approx(0.82)
    aside = start.moved({"desk.from_front": 0.55})
    assert aside.scene.blueprint.furniture[0].from_front == pytest.approx((0.55, 1.30))
    assert at(aside, "right.from_front") == pytest.approx(0.72)


def test_blocks_grow_with_a_monitor_that_is_lifted(start: State) -> None:
    assert at(start.moved({"left.height": 1.1}), "right.pad") == pytest.approx(0.14)
    assert at(start.moved({"left.height": 0.9}), "left.pad") == pytest.approx(0.06), "less than none there are not"


def test_whatever_comes_back_to_its_place_is_no_change(start: State) -> None:
    assert start.moved({"left.from_front": 0.7}).moved({"left.from_front": 0.62}) == start


def test_a_drag_is_one_step_back_and_forth(start: State) -> None:
    history = History(start)
    for front in (0.63, 0.64, 0.65):
        history.drag(start.moved({"left.from_front": front}))
    history.release()
    assert len(history.back) == 1
    last = history.now
    assert history.undo() and history.now == start
    assert not history.undo()
    assert history.redo() and history.now == last
    history.undo()
    history.put(start.moved({"desk.height": 0.7}))
    assert not history.redo(), "a new step leaves nothing to redo"


def test_a_value_that_cannot_be_there_is_refused_and_nothing_moves(start: State) -> None:
    with pytest.raises(SceneError, match="tilt"):
        start.moved({"left.tilt": 200.0}).scene  # noqa: B018  what is asked for is made when it is asked for
    with pytest.raises(SceneError, match="nothing that can be varied"):
        start.moved({"lamp.height": 1.0})


def test_a_complaint_names_the_longest_things_first() -> None:
    fault = SceneError("left", 'it stands in the "left loudspeaker" and the desk', "move it")
    assert refused_by(fault, ["desk", "left", "left loudspeaker", "sofa"]) == ["left loudspeaker", "desk", "left"]


def test_the_file_is_kept_as_it_is(tmp_path: Path) -> None:
    raw = b"\xef\xbb\xbf" + ROOM.replace("\n", "\r\n").encode()
    (tmp_path / "scene.toml").write_bytes(raw)
    base = base_of(read_scene(tmp_path))
    assert base.raw == raw
    assert base.text.startswith("# A little room")
