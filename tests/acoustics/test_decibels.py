import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.levels import energy_from_db, level_db, pressure_from_db, pressure_level_db


def test_known_levels() -> None:
    assert level_db([1.0, 10.0, 0.5]) == pytest.approx([0.0, 10.0, -3.0103], abs=1e-4)
    assert pressure_level_db([1.0, 0.5, -2.0]) == pytest.approx([0.0, -6.0206, 6.0206], abs=1e-4)
    assert pressure_level_db(3.0 + 4.0j) == pytest.approx(13.9794, abs=1e-4)


def test_silence_has_a_floor_and_no_warning() -> None:
    assert list(level_db([0.0, 1e-30, -1e-18])) == [-200.0, -200.0, -200.0]
    assert list(pressure_level_db(np.array([0.0, 0.0j]))) == [-200.0, -200.0]


def test_a_missing_number_stays_missing() -> None:
    assert np.isnan(level_db(np.nan))
    assert np.isnan(pressure_level_db(np.nan))


@given(st.floats(-199.0, 150.0))
def test_there_and_back(level: float) -> None:
    assert level_db(energy_from_db(level)) == pytest.approx(level, abs=1e-9)
    assert pressure_level_db(pressure_from_db(level)) == pytest.approx(level, abs=1e-9)
