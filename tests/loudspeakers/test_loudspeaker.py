from dataclasses import replace

import pytest

from sim.loudspeakers.catalogue import generic_loudspeaker
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.loudspeakers.signal import Driver

TWO_WAY = generic_loudspeaker("two-way")


def test_offsets_follow_the_drivers() -> None:
    assert TWO_WAY.driver_offsets_m == tuple(driver.offset_m for driver in TWO_WAY.drivers)


def test_a_driver_may_touch_the_edge_but_not_pass_it() -> None:
    at_edge = Driver("tweeter", 1, 0.0125, (0.0, 0.09 - 0.0125, 0.0))
    replace(TWO_WAY, drivers=(TWO_WAY.drivers[0], at_edge))
    past_edge = replace(at_edge, offset_m=(0.0, 0.09, 0.0))
    with pytest.raises(ValueError, match=r"tweeter .* sticks out of its baffle by 12 mm"):
        replace(TWO_WAY, drivers=(TWO_WAY.drivers[0], past_edge))


def test_a_loudspeaker_needs_drivers_branches_and_a_box() -> None:
    with pytest.raises(ValueError, match="no driver"):
        replace(TWO_WAY, drivers=())
    with pytest.raises(ValueError, match="branch 2"):
        replace(TWO_WAY, drivers=(replace(TWO_WAY.drivers[0], way=2),))
    with pytest.raises(ValueError, match="no cabinet"):
        replace(TWO_WAY, cabinet_size_m=None)
    assert replace(TWO_WAY, cabinet_size_m=None, flush=True).flush


def test_a_driver_of_ones_own() -> None:
    single = Loudspeaker(
        "one cone", "two-way", (Driver("cone", 0, 0.05, (0.0, 0.0, 0.0)),), cabinet_size_m=(0.2, 0.2, 0.2)
    )
    assert single.radiation([[1.0, 0.0, 0.0]], [100.0, 1000.0], 343.2) == pytest.approx(1.0)
