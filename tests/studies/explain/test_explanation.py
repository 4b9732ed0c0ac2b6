"""One arrival explained: what it meets, at what angles, and what cannot be asked for."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import SceneError
from sim.placement.poses import rotation_of
from sim.studies.explain.explanation import aim, explain
from tests.explained import PANEL, POINT, TWO_WAY, number_of, traced


def test_every_arrival_can_be_explained() -> None:
    results = traced(POINT)
    for arrival in results.responses.arrivals[:40]:
        explained = explain(results, "left", "ear", arrival.number)
        assert explained.arrival == arrival
        assert len(explained.touches) == arrival.order
        assert tuple(touch.name for touch in explained.touches) == arrival.surfaces
        legs = np.linalg.norm(np.diff(explained.points, axis=0), axis=1).sum()
        if len(arrival.main.points) == arrival.order:
            # a point beside its facet is shown on the rim, by way of which it is a little longer
            assert legs == pytest.approx(arrival.main.length_m, abs=1e-6 if arrival.main.margin_m > -1e-6 else 0.35)
        assert (explained.edge is not None) == arrival.diffracted


def test_angles_and_points_of_a_desk_bounce_by_hand() -> None:
    """0.4 and 0.5 m over the desk, 1.523 m apart over ground: tan t = 1.523/0.9."""
    results = traced(POINT)
    explained = explain(results, number=number_of(results, "desk top"))
    domain = np.hypot(1.4, 0.6)
    assert explained.touches[0].angle_deg == pytest.approx(np.degrees(np.arctan(domain / 0.9)))
    assert explained.touches[0].point == pytest.approx([0.5 + 1.4 * 4 / 9, 1.0 + 0.6 * 4 / 9, 0.7])
    assert explained.departing.upward_deg < 0.0
    (furnishing,) = explained.furnishings
    assert furnishing.surface == "desk top" and furnishing.carried == ()
    assert {way.kind for way in furnishing.ways} == {"cut", "move", "tilt"}
    done = [k for k, way in enumerate(furnishing.ways) if way.works and way.direction not in ("up", "down")]
    assert done and np.isfinite(furnishing.edges_db[done]).all()


def test_a_met_panel_is_named_with_its_share() -> None:
    results = traced(POINT + PANEL)
    explained = explain(results, number=number_of(results, "left wall (side panel)"))
    (panel,) = explained.touches[0].panels
    assert panel.name == "side panel"
    assert panel.fraction[-3:] == pytest.approx(1.0, abs=0.3)


def test_octaves_that_are_judged_lie_in_the_target_and_above_the_transition() -> None:
    explained = explain(traced(TWO_WAY), "right", "sofa", 1)
    assert explained.bands.nominal_hz[explained.judged].tolist() == [1000.0, 2000.0, 4000.0, 8000.0]
    assert explained.bands.nominal_hz[explained.worst] == explained.arrival.worst_band_hz
    assert explained.arrival.listener == "sofa" and explained.arrival.loudspeaker == "right"


def test_direct_sound_needs_no_removal() -> None:
    explained = explain(traced(TWO_WAY), number=0)
    assert (explained.panels, explained.furnishings, explained.edge, explained.touches) == ((), (), None, ())
    assert explained.hidden_by == ()
    assert np.abs([loss.level_db for loss in explained.losses]).max() < 1e-9


def test_a_hidden_direct_sound_names_what_hides_it() -> None:
    wall = (
        '[[furniture]]\nkind = "block"\nname = "pillar"\nfrom_front = [1.1, 1.2]\nfrom_left = [1.0, 1.8]\nup = [0, 2]\n'
    )
    results = traced(POINT.replace("[method]", wall + "[method]"))
    assert explain(results, number=0).hidden_by == ("pillar",)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"number": 99999}, r"peak: there is no number 99999: left has \d+ arrivals at the ear; give 1 to \d+"),
        ({"number": -1}, "peak: -1 is below zero"),
        ({"loudspeaker": "lefft"}, 'loudspeaker: none is called "lefft"; perhaps you mean "left"'),
        ({"listener": "soffa"}, 'listener: none is called "soffa"; perhaps you mean "sofa"'),
    ],
)
def test_what_cannot_be_explained_is_refused_in_one_sentence(asked: dict, said: str) -> None:
    with pytest.raises(SceneError, match=said) as refused:
        explain(traced(TWO_WAY), **asked)
    assert "\n" not in str(refused.value)


def test_aim_is_told_as_the_room_has_it_also_for_a_box_on_its_side() -> None:
    loudspeaker = traced(TWO_WAY).built.loudspeakers[0]
    from dataclasses import replace

    for roll in (0.0, 90.0, 180.0):
        level = replace(loudspeaker, rotation=rotation_of(0.0, 0.0, roll))
        found = aim(level, np.array([1.0, 1.0, 0.0]))
        assert (found.off_axis_deg, found.sideways_deg, found.upward_deg) == pytest.approx((45.0, 45.0, 0.0))
        up = aim(level, np.array([1.0, 0.0, 1.0]))
        assert (up.sideways_deg, up.upward_deg) == pytest.approx((0.0, 45.0))
    down = replace(loudspeaker, rotation=rotation_of(0.0, 10.0, 0.0))
    assert aim(down, np.array([1.0, 0.0, 0.0])).upward_deg == pytest.approx(10.0)
