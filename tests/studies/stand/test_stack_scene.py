"""What a loudspeaker of a scene wishes of its stand, in every roll it can stand in."""

from __future__ import annotations

import pytest

from sim.errors import SceneError
from sim.studies.stand.stack import loudspeaker_named, wish_of
from tests.built_scenes import box, built_scene_of, loudspeaker

ROOM, EAR = box(4.2, 3.4, 2.4), (1.6, 1.7, 1.25)


def wish_rolled(roll: object, **more: object):  # type: ignore[no-untyped-def]
    record = loudspeaker((0.6, 1.1, 1.2), model="two-way", roll=roll, toe_in_deg=20, tilt_deg=5)
    return wish_of(built_scene_of(ROOM, [record], EAR), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("roll", "wide", "high", "axis"),
    [
        ("upright", 0.18, 0.29, 0.22),
        ("inverted", 0.18, 0.29, 0.07),
        ("on its left side", 0.29, 0.18, 0.09),
        ("on its right side", 0.29, 0.18, 0.09),
    ],
)
def test_the_box_as_it_lies(roll: str, wide: float, high: float, axis: float) -> None:
    """The usual two-way: 0.18 x 0.29 x 0.23 m with its tweeter 70 mm under the top."""
    wish = wish_rolled(roll)
    assert (wish.width_m, wish.height_m, wish.depth_m, wish.axis_in_cabinet_m) == pytest.approx(
        (wide, high, 0.23, axis)
    )
    assert wish.axis_height_m == pytest.approx(1.25)
    assert wish.distance_m == pytest.approx((1.0**2 + 0.6**2) ** 0.5)


def test_a_given_mass_wins() -> None:
    assert wish_rolled("upright", mass_kg=7.0).mass_kg == 7.0


def test_on_an_edge_nothing_stands() -> None:
    with pytest.raises(SceneError, match="it stands on an edge"):
        wish_rolled(45.0)


def test_a_name_that_is_not_there() -> None:
    built = built_scene_of(ROOM, [loudspeaker((0.6, 1.1, 1.2))], EAR)
    with pytest.raises(SceneError, match="choose from left"):
        loudspeaker_named(built, "right")
    with pytest.raises(SceneError, match="it has no cabinet"):
        wish_of(built)
