from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from sim.studies.treat.domain import Group, Spot, placement_domain
from sim.studies.treat.hanging import panel_records, treated_blueprint
from tests.built_scenes import block
from tests.studies.treat.planned import NOWHERE, domain_of, small_room, surface_number

WINDOW = {"name": "window", "kind": "window", "surface": "left wall", "from_front": [0.8, 1.6], "up": [0.9, 2.0]}
DOOR = {
    "name": "door",
    "kind": "door",
    "surface": "rear wall",
    "from_left": [1.9, 2.7],
    "up": [0.0, 2.0],
    "swing": 0.8,
    "escape": True,
}
LAMP = {"name": "lamp", "kind": "lamp", "from_front": [1.9, 2.1], "from_left": [1.4, 1.6], "up": [2.3, 2.5]}
HEATER = {"name": "heater", "kind": "heater", "from_front": [2.5, 3.3], "from_left": [0.0, 0.1], "up": [0.1, 0.7]}


@pytest.fixture(scope="module")
def furnished() -> Blueprint:
    return small_room(
        openings=[WINDOW, DOOR],
        keep_clear=[LAMP, HEATER],
        furniture=[block((3.4, 4.0), (0.0, 0.6), (0.0, 1.8), name="cupboard")],
    )


@pytest.fixture(scope="module")
def domain(furnished):
    return domain_of(furnished)


def rule(domain, surface: str, rectangle) -> str:
    return domain.rule_at(surface_number(domain, surface), 0, rectangle)


def why(domain, surface: str, point, movable: bool = True) -> str:
    return "; ".join(domain.zones[0][surface_number(domain, surface)].reasons_at(np.array(point), movable))


def test_over_a_window_that_must_open_only_a_movable_panel_may_stand(domain) -> None:
    assert rule(domain, "left wall", (0.7, 0.6, 1.3, 1.8)) == "movable"
    assert rule(domain, "left wall", (0.2, 0.6, 0.8, 1.8)) == "fixed"
    assert "must open" in why(domain, "left wall", (1.0, 0.0, 1.2), movable=False)


def test_a_way_out_stays_free(domain) -> None:
    assert rule(domain, "rear wall", (1.8, 0.6, 2.4, 1.8)) == "no"
    assert "way out" in why(domain, "rear wall", (4.0, 2.2, 1.0))


def test_a_panel_may_slide_before_a_way_out_if_the_scene_says_so() -> None:
    domain = domain_of(small_room(openings=[{**DOOR, "swing": 0.0, "panel_may_slide": True}]))
    assert rule(domain, "rear wall", (1.8, 0.6, 2.4, 1.8)) == "movable"


def test_what_swings_takes_the_wall_beside_it() -> None:
    wide = domain_of(small_room(openings=[{**DOOR, "from_left": [2.15, 2.95]}]))
    assert rule(wide, "right wall", (3.3, 0.6, 3.9, 1.8)) == "no"
    assert "swings" in why(wide, "right wall", (3.6, 3.0, 1.0))
    assert rule(wide, "right wall", (2.4, 0.6, 3.0, 1.8)) == "fixed"


def test_lamps_heaters_and_furniture_are_kept_clear_of(domain) -> None:
    assert rule(domain, "ceiling", (1.7, 1.2, 2.9, 1.8)) == "no"
    assert rule(domain, "ceiling", (0.6, 1.2, 1.8, 1.8)) == "fixed"
    # a heater keeps 0.30 m: its upper edge is at 0.7, its front end at 2.5
    assert rule(domain, "left wall", (2.6, 0.95, 3.2, 2.15)) == "no"
    assert rule(domain, "left wall", (2.6, 1.0, 3.2, 2.2)) == "fixed"
    assert rule(domain, "rear wall", (0.0, 0.6, 0.6, 1.8)) == "no"
    assert "cupboard" in why(domain, "rear wall", (4.0, 0.3, 1.0))


def test_without_movable_panels_a_window_stays_free(furnished) -> None:
    treatment = furnished.treatment.model_copy(update={"movable": False})
    domain = domain_of(furnished.model_copy(update={"treatment": treatment}))
    assert rule(domain, "left wall", (0.7, 0.6, 1.3, 1.8)) == "no"


def test_clouds_hang_nearer_or_not_at_all_where_headroom_would_be_lost() -> None:
    low = domain_of(small_room(treatment={"headroom": 2.36}))
    zone = low.zones[0][surface_number(low, "ceiling")]
    assert zone.gap_m == pytest.approx(0.04)
    assert "headroom" in zone.notes[0]
    none = domain_of(small_room(treatment={"headroom": 2.45}))
    assert rule(none, "ceiling", (0.6, 1.2, 1.8, 1.8)) == "no"
    assert "headroom" in why(none, "ceiling", (1.0, 1.5, 2.5))


def test_surfaces_that_shall_stay_bare_are_left_out() -> None:
    domain = domain_of(small_room(treatment={"leave_bare": ["ceiling"]}))
    assert "ceiling" not in [surface.name for surface in domain.surfaces]
    assert "left bare" in domain.left_alone[0]


def test_without_a_pair_or_a_free_place_there_is_no_plan() -> None:
    blueprint = small_room()
    alone = blueprint.model_copy(update={"loudspeakers": blueprint.loudspeakers[:1]})
    with pytest.raises(SceneError, match="no pair"):
        domain_of(alone)
    every = ["left wall", "right wall", "front wall", "rear wall", "ceiling"]
    with pytest.raises(SceneError, match="no wall, slope or ceiling"):
        domain_of(small_room(treatment={"leave_bare": every}))


@given(
    st.sampled_from(["left wall", "right wall", "front wall", "rear wall", "ceiling"]),
    st.integers(0, 34),
    st.integers(0, 24),
    st.booleans(),
)
@settings(max_examples=60)
def test_what_a_zone_allows_the_stage_takes(furnished, domain, surface, a, b, turned) -> None:
    width, height = (1.2, 0.6) if turned else (0.6, 1.2)
    rectangle = (0.1 * a, 0.1 * b, 0.1 * a + width, 0.1 * b + height)
    allowed = rule(domain, surface, rectangle)
    spot = Spot(surface_number(domain, surface), rectangle, 0, allowed == "movable")
    if allowed == "no":
        return
    records = panel_records(domain, [Group((spot,), "single")])
    built = build_scene(treated_blueprint(furnished, records[0], "treated"), NOWHERE)
    low, high = built.panels[0].corners_m.min(axis=0), built.panels[0].corners_m.max(axis=0)
    mine = domain.corners_m(spot)
    assert np.allclose(low, mine.min(axis=0), atol=1e-4)
    assert np.allclose(high, mine.max(axis=0), atol=1e-4)


def test_left_and_right_are_mirror_images(domain) -> None:
    pair = domain.group_at(surface_number(domain, "left wall"), 0, (0.2, 0.6, 0.8, 1.8))
    assert pair.kind == "pair"
    left, right = (domain.corners_m(spot) for spot in pair.spots)
    assert np.allclose(np.sort(left[:, [0, 2]], axis=0), np.sort(right[:, [0, 2]], axis=0))
    assert np.allclose(left[:, 1] + right[:, 1], 3.0)
    clouds = domain.group_at(surface_number(domain, "ceiling"), 0, (0.2, 0.9, 1.4, 1.5))
    assert [spot.rectangle for spot in clouds.spots] == [(0.2, 0.9, 1.4, 1.5), (0.2, 1.5, 1.4, 2.1)]
    centred = domain.group_at(surface_number(domain, "ceiling"), 0, (0.2, 0.9, 0.8, 2.1))
    assert centred.kind == "centred"
    assert domain.group_at(surface_number(domain, "ceiling"), 0, (0.2, 1.0, 0.8, 2.2)) is None


def test_where_the_mirrored_place_is_taken_one_hangs_alone_and_says_why(domain) -> None:
    group = domain.group_at(surface_number(domain, "rear wall"), 0, (0.7, 0.6, 1.3, 1.8))
    assert group.kind == "single"
    assert "door" in group.why


def test_panels_that_would_share_a_corner_of_the_room_collide(domain) -> None:
    beside = domain.group_at(surface_number(domain, "left wall"), 0, (0.0, 0.2, 0.6, 1.4))
    front = domain.group_at(surface_number(domain, "front wall"), 0, (0.0, 0.2, 0.6, 1.4))
    away = domain.group_at(surface_number(domain, "front wall"), 0, (0.1, 0.2, 0.7, 1.4))
    assert domain.clash(beside, [front])
    assert not domain.clash(beside, [away])


def test_the_placement_domain_rounds_the_mirror_plane_to_a_tidy_step() -> None:
    blueprint = small_room()
    built = build_scene(blueprint, NOWHERE)
    assert placement_domain(built, blueprint).middle_m == 1.5
    inches = placement_domain(built, blueprint.model_copy(update={"units": "in"}))
    assert inches.middle_m / 0.0127 == pytest.approx(round(inches.middle_m / 0.0127))
    assert abs(inches.middle_m - 1.5) <= 0.00635
