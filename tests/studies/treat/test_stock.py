from __future__ import annotations

import pytest

from sim.errors import SceneError
from sim.studies.treat.stock import Limits, finish_of, limits_of, stock_mass_kg, stock_of
from tests.studies.treat.planned import small_room

PRICED = [
    {"name": "big", "size": [0.6, 1.2], "price": 90.0, "available": 3},
    {"name": "small", "size": [0.6, 0.6], "price": 50.0, "mass_kg": 4.5, "material": "50 mm wool"},
]


def test_both_ways_round_unless_square() -> None:
    big, small = stock_of(small_room(treatment={"stock": PRICED}))
    assert big.sizes_m == ((0.6, 1.2), (1.2, 0.6))
    assert small.sizes_m == ((0.6, 0.6),)
    assert (big.thickness_m, small.thickness_m) == (0.1, 0.05)


def test_limits_count_panels_money_and_what_there_is() -> None:
    limits = limits_of(small_room(treatment={"stock": PRICED, "panels": 6, "budget": 330.0}), None, None)
    assert limits.allow((3, 1))
    assert not limits.allow((4, 0))  # only three of them
    assert not limits.allow((3, 2))  # 370
    assert not limits.allow((0, 7))
    assert limits_of(small_room(treatment={"panels": 6}), 2, None).panels == 2


def test_what_is_asked_for_in_vain_is_said() -> None:
    with pytest.raises(SceneError, match="--panels: it is 0"):
        limits_of(small_room(), 0, None)
    with pytest.raises(SceneError, match="has no price"):
        limits_of(small_room(), None, 500.0)
    with pytest.raises(SceneError, match="--budget"):
        limits_of(small_room(treatment={"stock": PRICED}), None, -3.0)


def test_mass_is_as_told_or_an_estimate() -> None:
    blueprint = small_room(treatment={"stock": PRICED})
    big, small = stock_of(blueprint)
    assert stock_mass_kg(small, finish_of(blueprint, small.record, 0.0)) == 4.5
    # framed panels of this size are sold at 6 to 10 kg (common practice, no source)
    assert 6.0 < stock_mass_kg(big, finish_of(blueprint, big.record, 0.0)) < 10.0


def test_money_that_is_just_enough_is_enough() -> None:
    """Three at 0.10 cost 0.30000000000000004 to a computer."""
    limits = Limits(panels=5, budget=0.3, available=(5,), prices=(0.1,))
    assert limits.allow((3,)) and not limits.allow((4,))


def test_the_usual_panel_is_named_in_the_units_of_the_scene() -> None:
    metric, inches = small_room(), small_room().model_copy(update={"units": "in"})
    assert [one.record.name for one in stock_of(metric)] == ["panel 600 x 1200 x 100"]
    (usual,) = stock_of(inches)
    assert usual.record.name == "panel 24 x 48 x 4 in"
    assert usual.sizes_m == ((0.6096, 1.2192), (1.2192, 0.6096)) and usual.thickness_m == pytest.approx(0.1016)
    own = small_room(treatment={"stock": PRICED}).model_copy(update={"units": "in"})
    assert [one.record.name for one in stock_of(own)] == ["big", "small"]
