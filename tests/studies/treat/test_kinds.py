from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.air import Air
from sim.acoustics.buildups import find_build_up
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.studies.treat.stock import kinds_advice, porous_reach, pressure_absorbers

AIR = Air()


def test_a_porous_panel_works_from_about_a_quarter_wavelength() -> None:
    reach = porous_reach(find_build_up("100 mm wool, 100 mm gap"), 35.0, AIR)
    assert reach.quarter_wave_hz == pytest.approx(AIR.speed_of_sound_m_s / 0.8)
    assert reach.from_hz[0] < reach.from_hz[1] <= reach.from_hz[2] < reach.quarter_wave_hz
    thin = porous_reach(find_build_up("25 mm wool"), 35.0, AIR)
    assert thin.from_hz[1] > 4.0 * reach.from_hz[1]


def test_from_there_up_it_really_takes_that_much() -> None:
    build_up = find_build_up("50 mm wool")
    reach = porous_reach(build_up, 23.0, AIR)
    for step, start in zip((3.0, 6.0, 10.0), reach.from_hz, strict=True):
        frequencies = np.geomspace(start * 1.02, 7900.0, 50)
        factor = np.abs(reflection_factor_at(build_up, frequencies, np.radians([23.0]), AIR)[0])
        assert (-20.0 * np.log10(factor) >= step - 0.1).all()
        below = np.abs(reflection_factor_at(build_up, [start * 0.95], np.radians([23.0]), AIR)[0, 0])
        assert -20.0 * np.log10(below) < step


def test_below_that_pressure_absorbers_are_named_with_their_tuning() -> None:
    found = dict(pressure_absorbers(500.0, AIR))
    # 50.7/sqrt(5 kg/m2 x 0.1 m) with wool in the gap (Cox & D'Antonio): 72 Hz
    assert found["membrane over 100 mm wool"] == pytest.approx(72.0, abs=2.0)
    assert pressure_absorbers(20.0, AIR) == []
    words = " ".join(kinds_advice([porous_reach(find_build_up("100 mm wool"), 30.0, AIR)], 143.0, AIR))
    assert "pressure" in words
    assert "143 Hz" in words
    assert "not judged" in words
