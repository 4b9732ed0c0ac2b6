"""Third-octave levels at the ear: means over the bands of IEC 61260-1, with one thing at a time left out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.acoustics.bands import third_octave_bands
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import band_mean_weights, ear_levels, ear_response, response_frequencies
from tests.built_scenes import box, built_scene_of, desk, loudspeaker

FREQUENCIES = response_frequencies()
BANDS = third_octave_bands(100, 16000)
EAR = (2.6, 2.0, 1.2)


def test_weights_are_a_mean_and_reach_from_edge_to_edge() -> None:
    """IEC 61260-1, base ten: the 1 kHz third-octave reaches from 10^2.95 to 10^3.05 Hz."""
    weights = band_mean_weights(FREQUENCIES, BANDS)
    assert weights.sum(axis=1) == pytest.approx(np.ones(len(BANDS)))
    assert weights.min() >= 0.0
    used = FREQUENCIES[weights[BANDS.nominal_hz.tolist().index(1000)] > 0.0]
    step = FREQUENCIES[1]
    assert 10**2.95 - step < used[0] < 10**2.95 + step
    assert 10**3.05 - step < used[-1] < 10**3.05 + step


@given(seed=st.integers(0, 1000))
def test_the_mean_is_that_of_a_fine_sum_over_the_logarithm(seed: int) -> None:
    random = np.random.default_rng(seed)
    energy = random.uniform(0.0, 4.0, len(FREQUENCIES))
    means = band_mean_weights(FREQUENCIES, BANDS) @ energy
    for band in (0, 7, 22):
        slices = (np.arange(40_000) + 0.5) / 40_000
        fine = np.log(BANDS.lower_hz[band]) + slices * np.log(BANDS.upper_hz[band] / BANDS.lower_hz[band])
        twin = np.interp(fine, np.log(FREQUENCIES[1:]), energy[1:]).mean()
        assert means[band] == pytest.approx(twin, rel=1e-3)


def test_a_delayed_copy_left_out_gives_nought_and_kept_gives_its_comb() -> None:
    """1 + r e^{-jwT} has energy 1 + r^2 + 2 r cos(wT); at 16 kHz a third-octave holds many teeth: 1 + r^2."""
    direct = np.ones((1, 1, len(FREQUENCIES)), complex)
    echo = 0.5 * np.exp(-2j * np.pi * FREQUENCIES * 3e-3)
    levels = ear_levels(
        FREQUENCIES, direct, (direct + echo)[:, None], [("surface", "desk top")], echo[None, None, None, None]
    )
    assert levels.kinds == ("everything", "surface") and levels.without == ("", "desk top")
    assert levels.whole_db.shape == (1, 1, 2, 23)
    assert levels.whole_db[0, 0, 1] == pytest.approx(np.zeros(23), abs=1e-9)
    assert levels.whole_db[0, 0, 0, -1] == pytest.approx(10.0 * np.log10(1.25), abs=0.05)
    assert levels.whole_db[0, 0, 0, 2] == pytest.approx(  # 160 Hz, well within one tooth
        10.0 * np.log10(1.25 + np.cos(2.0 * np.pi * BANDS.exact_hz[2] * 3e-3)), abs=0.4
    )
    assert levels.driver_db[:, 0] == pytest.approx(levels.whole_db)


def test_cases_are_room_surfaces_whole_pieces_and_panels_and_drivers_play_their_bands() -> None:
    panel = {
        "name": "side panel",
        "surface": "left wall",
        "from_front": (1.4, 2.0),
        "up": (0.6, 1.8),
        "material": "100 mm wool",
    }
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way", tilt_deg="ear")],
        EAR,
        furniture=[desk((1.3, 1.9), (1.0, 3.0), 0.74, name="desk")],
        panels=[panel],
    )
    response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
    levels = response.levels
    named = dict(zip(levels.without, levels.kinds, strict=True))
    assert named["left wall"] == named["floor"] == "surface"
    assert named["desk"] == "piece" and "desk top" not in named
    assert named["side panel"] == "panel"
    weights = band_mean_weights(FREQUENCIES, levels.bands)
    bare = response.total - response.by_panel[:, :, 0]
    expected = 10.0 * np.log10((np.abs(bare) ** 2 @ weights.T) / (np.abs(response.direct) ** 2 @ weights.T))
    assert levels.whole_db[:, :, levels.without.index("side panel")] == pytest.approx(expected)
    drivers = [driver.name for driver in built.loudspeakers[0].model.drivers]
    woofer, tweeter = (levels.driver_db[0, drivers.index(name), 0, 0] for name in ("woofer", "tweeter"))
    assert np.all(woofer[:8] > tweeter[:8] + 20.0)
    assert np.all(tweeter[-4:] > woofer[-4:] + 20.0)
