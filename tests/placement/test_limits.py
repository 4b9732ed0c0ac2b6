from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import SceneFile, parse_scene
from sim.layouts.fields import find_field
from sim.placement.built_scene import build_scene
from sim.placement.limits import limits_of, spare_tip_deg, what_is_not_judged
from tests.studies.compare.layouts import ON_STANDS


def scene(text: str = ON_STANDS, *pairs: tuple[str, str]) -> SceneFile:
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return parse_scene(text, Path("nowhere"))


def broken(one: SceneFile) -> dict[str, float]:
    limits = limits_of(one.blueprint, build_scene(one.blueprint, one.folder))
    return {limit.kind: limit.broken for limit in sorted(limits, key=lambda each: each.broken) if limit.broken}


def test_the_bedroom_keeps_all_limits() -> None:
    assert broken(scene()) == {}


def test_tilt_beyond_15_degrees_is_broken_unless_a_strap_is_noted() -> None:
    tilted = ("tilt_deg = 0", "tilt_deg = 18")
    assert broken(scene(ON_STANDS, tilted))["tilt"] == pytest.approx(3.0 / 15.0)
    strapped = ("stand_height = 1.00", 'stand_height = 1.00\nstrap = "to the stand"')
    assert "tilt" not in broken(scene(ON_STANDS, tilted, strapped))
    near = scene(ON_STANDS, ("tilt_deg = 0", "tilt_deg = 14.5"))
    reported = limits_of(near.blueprint, build_scene(near.blueprint, near.folder))
    assert [(limit.kind, limit.near) for limit in reported] == [("tilt", True), ("tilt", True)]


@pytest.mark.parametrize(("edge", "over"), [(0.95, 0.05), (1.54, 0.04), (1.10, 0.0)])
def test_reach_is_the_way_from_the_edge_of_the_desk_to_the_ear(edge: float, over: float) -> None:
    """0.10 to 0.60 m; the excess is a share of the 0.50 m between them."""
    moved = scene(ON_STANDS, ("from_front = [0.55, 1.30]", f"from_front = [0.55, {edge}]"))
    assert broken(moved).get("reach", 0.0) == pytest.approx(over / 0.50, abs=1e-9)


def test_a_driver_behind_a_screen_breaks_the_sight_limit_by_how_deep_it_is_hidden() -> None:
    high = ("height = 0.36", "height = 0.70")
    shallow = broken(scene(ON_STANDS, high, ("width = 0.61", "width = 0.95")))["sight"]
    deep = broken(scene(ON_STANDS, high, ("width = 0.61", "width = 1.05")))["sight"]
    assert 0.0 < shallow < deep


def test_sight_breaks_without_a_step() -> None:
    """Seen past an edge by less than 1 cm is broken already, and more so the deeper it is hidden."""
    wide = ("width = 0.61", "width = 0.90")
    heights = [("height = 0.36", f"height = {0.18 + 0.02 * k:.2f}") for k in range(10)]
    amounts = [broken(scene(ON_STANDS, high, wide)).get("sight", 0.0) for high in heights]
    assert amounts[0] == 0.0
    assert np.diff(amounts).min() > -1e-9
    assert 0.0 < np.diff(amounts).max() < 0.021


@pytest.mark.parametrize(("left", "over"), [(1.40, True), (1.08, False), (0.70, True)])
def test_the_triangle_is_50_to_70_degrees_when_it_can_change(left: float, over: bool) -> None:
    text = ON_STANDS.replace("from_left = 1.08", f"from_left = {left}").replace(
        "from_left = 2.32", f"from_left = {3.4 - left}"
    )
    one = scene(text)
    angle = 2.0 * np.degrees(np.arctan((1.7 - left) / np.hypot(1.18, 0.02)))
    amount = broken(one).get("triangle", 0.0)
    assert amount == pytest.approx(max(angle - 70.0, 50.0 - angle, 0.0) / 20.0, abs=1e-6)
    assert (amount > 0.0) == over
    built = build_scene(one.blueprint, one.folder)
    for name, looked_at in (("desk.depth", False), ("left.from_left", True), ("ear.from_front", True)):
        limits = limits_of(one.blueprint, built, find_field(one.blueprint, name).places)
        assert any(limit.kind == "triangle" and limit.broken for limit in limits) == (over and looked_at)


def test_a_box_tips_about_the_edge_of_its_foot() -> None:
    one = scene()
    placed = build_scene(one.blueprint, one.folder).loudspeakers[0]
    assert spare_tip_deg(placed) == pytest.approx(np.degrees(np.arctan(0.18 / 0.29)))
    tilted = scene(ON_STANDS, ("tilt_deg = 0", "tilt_deg = 12"))
    placed = build_scene(tilted.blueprint, tilted.folder).loudspeakers[0]
    assert spare_tip_deg(placed) == pytest.approx(np.degrees(np.arctan(0.23 / 0.29)) - 12.0)
    tall = scene(ON_STANDS, ("width = 0.18", "width = 0.12"), ("height = 0.29", "height = 0.80"))
    assert broken(tall)["stand"] == pytest.approx((10.0 - np.degrees(np.arctan(0.12 / 0.80))) / 10.0)


def test_what_the_scene_does_not_know_is_said() -> None:
    notes = what_is_not_judged(scene().blueprint)
    assert len(notes) == 1
    assert notes[0].startswith("whether the stands of left and right may tip over")
    bare = scene(ON_STANDS, ('kind = "desk"', 'kind = "shelf"'), ("top = 0.74", "up = [0.70, 0.74]"))
    assert any("no desk stands before the seat" in note for note in what_is_not_judged(bare.blueprint))
