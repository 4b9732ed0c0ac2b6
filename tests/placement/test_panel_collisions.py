"""Panels where something else already is, or has to be able to go."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene
from sim.placement.panel_collisions import swept_boxes
from tests.built_scenes import HARD, block, box, built_scene_of, loudspeaker, prism

ROOM = box(5.0, 4.0, 2.5)
EAR = (3.0, 2.0, 1.2)
SIDE = {
    "name": "side",
    "surface": "left wall",
    "from_front": (1.0, 1.6),
    "up": (0.5, 1.7),
    "material": "100 mm wool",
}
CLOUD = {
    "name": "cloud",
    "surface": "ceiling",
    "from_front": (1.5, 2.5),
    "from_left": (1.5, 2.5),
    "material": "deep",
}
DOOR = {
    "name": "door",
    "kind": "door",
    "surface": "rear wall",
    "from_left": (0.2, 1.0),
    "up": (0.0, 2.0),
    "swing": 0.8,
}
WINDOW = {
    "name": "window",
    "kind": "window",
    "surface": "rear wall",
    "from_left": (0.2, 1.0),
    "up": (0.9, 2.0),
    "swing": 0.5,
}
BY_THE_DOOR = {**SIDE, "from_front": (4.3, 4.9), "name": "door side"}
MATERIALS = {
    "hard": {"absorption": HARD, "source": "made up for a test"},
    "deep": {"layers": [{"porous": 0.1, "of": "wool"}, {"gap": 0.5}]},
    "thick": {"layers": [{"porous": 0.3, "of": "wool"}]},
}


def built_from(
    *panels: dict[str, Any], room: dict[str, Any] = ROOM, source: Any = (1.0, 2.0, 1.2), **more: Any
) -> BuiltScene:
    return built_scene_of(room, [source], more.pop("ear", EAR), panels=list(panels), materials=MATERIALS, **more)


def refusal(*panels: dict[str, Any], **more: Any) -> str:
    with pytest.raises(SceneError) as fault:
        built_from(*panels, **more)
    return str(fault.value)


def test_a_deep_cloud_does_not_go_through_a_beam() -> None:
    beam = block((2.0, 2.2), (0.5, 3.5), (2.1, 2.4), kind="beam", name="beam")
    assert refusal(CLOUD, furniture=[beam]).startswith(
        'panels "cloud": it stands 0.60 m before the surface and goes through the beam '
    )
    # from 1.9 to 2.5 m up, the beam from 2.1 to 2.4 m: the least way clear of it is 40 cm down
    assert " by 40 cm; make it thinner or smaller, or move it." in refusal(CLOUD, furniture=[beam])
    assert "it stands 1 ft 11 1/2 in before" in refusal(CLOUD, furniture=[beam], units="ft")
    assert len(built_from({**CLOUD, "material": "50 mm wool"}, furniture=[beam]).panels) == 1
    assert len(built_from({**CLOUD, "from_front": (2.25, 3.2)}, furniture=[beam]).panels) == 1


def test_a_panel_does_not_take_in_a_small_thing_nor_hang_inside_a_large_one() -> None:
    small = block((1.2, 1.3), (0.02, 0.08), (1.0, 1.1), name="switch box")
    assert "takes in the switch box" in refusal(SIDE, furniture=[small])
    large = block((0.8, 2.0), (0.0005, 0.5), (0.2, 2.0), name="cupboard")
    assert "is inside the cupboard" in refusal(SIDE, furniture=[large])
    assert len(built_from(SIDE, furniture=[block((0.8, 2.0), (0.101, 0.5), (0.2, 2.0))]).panels) == 1


def test_a_build_up_deeper_than_the_room_goes_through_the_wall_across() -> None:
    niche = prism([(0.0, 0.0), (5.0, 0.0), (5.0, 4.0), (3.0, 4.0), (3.0, 0.5), (0.0, 0.5)], 2.5)
    names = {"wall_names": ["left wall", "rear wall", "right wall", "inner wall", "niche wall", "front wall"]}
    room = {**niche, **names}
    panel = {**SIDE, "material": "deep"}
    reported = refusal(panel, room=room, source=(3.5, 1.0, 1.2), ear=(4.2, 2.0, 1.2))
    assert "goes through the niche wall" in reported or "is outside the room" in reported
    thin = {**SIDE, "material": "100 mm wool"}
    assert len(built_from(thin, room=room, source=(3.5, 1.0, 1.2), ear=(4.2, 2.0, 1.2)).panels) == 1


def test_in_an_acute_corner_a_thick_panel_meets_the_other_wall() -> None:
    """The front wall leaves the left one at 53 degrees (3-4-5): 0.1 m out it is 0.075 m nearer."""
    wedge = {
        **prism([(0.0, 0.0), (5.0, 0.0), (5.0, 4.0), (3.0, 4.0)], 2.5),
        "wall_names": ["left wall", "rear wall", "right wall", "front wall"],
    }
    elsewhere = {"room": wedge, "source": (3.5, 1.0, 1.2), "ear": (4.2, 2.0, 1.2)}
    assert "goes through the front wall" in refusal({**SIDE, "from_front": (0.06, 0.6)}, **elsewhere)
    assert len(built_from({**SIDE, "from_front": (0.08, 0.6)}, **elsewhere).panels) == 1


def test_a_panel_keeps_off_the_loudspeaker_and_the_head() -> None:
    near = {"acoustic_axis": {"from_front": 1.3, "from_left": 0.30, "up": 1.2}}
    boxed = {**loudspeaker((1.3, 0.30, 1.2), "left", model="two-way", toe_in_deg=0.0), **near}
    assert len(built_from(SIDE, source=boxed).panels) == 1
    assert refusal({**SIDE, "material": "thick"}, source=boxed) == (
        'panels "side": it reaches into the cabinet of "left"; move it away, or make it thinner.'
    )
    bare = {**SIDE, "material": "thick"}
    assert 'it covers the point of "source 0"' in refusal(bare, source=(1.3, 0.2, 1.2))
    assert 'it covers the point of "source 0"' in refusal(bare, source=(1.3, 0.304, 1.2))
    assert len(built_from(bare, source=(1.3, 0.31, 1.2)).panels) == 1
    head = {"head_box": {"depth": 0.3, "across": 0.3, "up": 0.1}}
    assert refusal(bare, ear=(1.3, 0.44, 1.2), listener=head) == (
        'panels "side": it reaches where the head may be; move it away, or make it thinner.'
    )
    assert len(built_from(bare, ear=(1.3, 0.46, 1.2), listener=head).panels) == 1
    seat = {**head, "second_seat": {"name": "sofa", "ear": {"from_front": 1.3, "from_left": 0.4, "up": 1.2}}}
    assert 'where the head of "sofa" may be' in refusal(bare, listener=seat)


def test_a_door_sweeps_its_rectangle_straight_into_the_room() -> None:
    built = built_from(openings=[DOOR])
    from sim.blueprint.room import Opening

    ((_, swept),) = swept_boxes(Opening.model_validate(DOOR), built.room)
    assert swept.min(axis=0) == pytest.approx([4.2, 0.2, 0.0])
    assert swept.max(axis=0) == pytest.approx([5.0, 1.0, 2.0])
    assert np.linalg.norm(swept[4] - swept[0]) == pytest.approx(0.8)
    assert swept_boxes(Opening.model_validate({**DOOR, "swing": 0.0}), built.room) == []


def test_what_opens_can_open() -> None:
    """The door begins 0.2 m from the wall; 300 mm of wool reach into its swing, 100 mm do not."""
    thick = {**BY_THE_DOOR, "material": "thick"}
    assert len(built_from(BY_THE_DOOR, openings=[DOOR]).panels) == 1
    assert refusal(thick, openings=[DOOR]) == (
        'panels "door side": it stands in the swing of "door", an opening that must open; move it out of the 0.80 m '
        "that this swings into the room, or say movable = true for a panel that is taken away by hand."
    )
    beyond = {**thick, "from_front": (3.5, 4.19)}
    assert len(built_from(beyond, openings=[DOOR]).panels) == 1


def test_a_movable_panel_may_stand_before_a_window_but_not_before_a_way_out() -> None:
    movable = {**BY_THE_DOOR, "material": "thick", "movable": True}
    said = 'The movable panel "door side" stands in the swing of "window" and keeps it from opening wide.'
    assert said in built_from(movable, openings=[WINDOW]).notes
    fixed = built_from({**movable, "movable": False}, openings=[{**WINDOW, "must_open": False}])
    assert any(note.startswith('The panel "door side" stands in the swing') for note in fixed.notes)
    assert refusal(movable, openings=[{**DOOR, "escape": True}]) == (
        'panels "door side": it stands in the swing of "door", a way out; move it out of the 0.80 m that this swings '
        "into the room."
    )
    slides = built_from(movable, openings=[{**DOOR, "escape": True, "panel_may_slide": True}])
    assert any("stands in the swing" in note for note in slides.notes)
