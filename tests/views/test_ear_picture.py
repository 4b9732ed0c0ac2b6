"""Third-octave smoothing, and which surface is called the strongest."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.views.ear_picture import strongest_surface, third_octave_db


@given(level=st.floats(-30, 20))
def test_a_flat_response_stays_flat(level):
    frequencies = np.linspace(20.0, 20000.0, 1500)
    smooth = third_octave_db(frequencies, np.full(1500, 10 ** (level / 20), dtype=complex))
    assert smooth == pytest.approx(np.full(1500, level), abs=1e-6)


@settings(max_examples=20)
@given(seed=st.integers(0, 1000), centre=st.integers(200, 800))
def test_smoothing_is_the_mean_energy_of_the_third_octave(seed, centre):
    frequencies = np.geomspace(50.0, 16000.0, 1000)
    random = np.random.default_rng(seed)
    response = random.normal(size=1000) + 1j * random.normal(size=1000)
    middle = frequencies[centre]
    fine = np.geomspace(middle * 2 ** (-1 / 6), middle * 2 ** (1 / 6), 20001)
    energy = np.interp(np.log(fine), np.log(frequencies), np.abs(response) ** 2)
    assert third_octave_db(frequencies, response)[centre] == pytest.approx(10 * np.log10(energy.mean()), abs=0.05)


def test_the_strongest_surface_is_that_of_the_loudest_arrival(results):
    first = next(a for a in results.responses.arrivals if a.loudspeaker == "left" and a.number == 1)
    assert results.responses.response.surfaces[strongest_surface(results, 0, 0)] == first.surfaces[0]
