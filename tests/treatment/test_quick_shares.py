from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.patches import share_of_panel
from sim.treatment.quick_shares import quick_shares

SPEED = 343.0
places = st.floats(-1.5, 1.5)


@given(places, places, st.floats(0.2, 1.3), st.floats(0.2, 1.3), st.floats(0.0, 6.2), st.floats(0.2, 1.0))
def test_it_is_the_fresnel_integral_over_the_panel(x, y, width, height, turn, cosine) -> None:
    corners = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])
    c, s = np.cos(turn), np.sin(turn)
    corners = corners @ np.array([[c, s], [-s, c]])
    frequencies = np.array([500.0, 1700.0, 8000.0])
    slow = share_of_panel(corners, 1.4, 2.1, cosine, frequencies, SPEED)
    shortened = (corners * np.array([cosine, 1.0]))[None]
    stretch = np.array([0.5 * (1.0 / 1.4 + 1.0 / 2.1)])
    quick = quick_shares(shortened, stretch, 2.0 * np.pi * frequencies / SPEED)[0]
    assert np.abs(quick - slow).max() < 2e-3


def test_a_panel_with_its_corner_on_the_mirror_point_has_a_quarter() -> None:
    corners = np.array([[[0.0, 0.0], [50.0, 0.0], [50.0, 50.0], [0.0, 50.0]]])
    share = quick_shares(corners, np.ones(1), np.array([100.0]))
    assert abs(share[0, 0] - 0.25) < 1e-2
