from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.studies.decay.room_metrics import (
    FIGURES,
    clarity,
    figures,
    integrate_backward,
    level_curves_db,
    line_fit,
    range_db,
    still_to_come,
    tail_of,
)
from tests.studies.decay.decaying import K60, by_hand, exponential

ZERO = np.zeros(())
FINE = 1.0 / 48_000.0


def read(energy: np.ndarray, bin_s: float, arrival_s: float = 0.0, direct: float = 0.0) -> dict[str, float]:
    values = figures(integrate_backward(energy, bin_s, arrival_s, np.array(direct)))
    return dict(zip(FIGURES, values.tolist(), strict=True))


@pytest.mark.parametrize("arrival_s", [0.0, 0.00437])
@pytest.mark.parametrize(
    ("decay_s", "c50", "c80", "d50", "ts"),
    [
        (0.20, 14.860, 23.983, 0.96838, 14.4765),
        (0.25, 11.717, 19.147, 0.93690, 18.0956),
        (0.30, 9.542, 15.890, 0.90000, 21.7147),
        (0.40, 6.650, 11.717, 0.82217, 28.9530),
        (0.50, 4.744, 9.096, 0.74881, 36.1912),
        (0.60, 3.349, 7.251, 0.68377, 43.4294),
        (1.00, -0.021, 3.053, 0.49881, 72.3824),
        (2.00, -3.845, -1.321, 0.29205, 144.7648),
    ],
)
def test_exponential_decays(decay_s, c50, c80, d50, ts, arrival_s) -> None:
    """Closed forms of ISO 3382-1 A.2 for h^2 = e^(-kt): C = 10 lg(e^(k te) - 1), D50 = 1 - e^(-0.05 k), Ts = 1/k."""
    found = read(exponential(decay_s, FINE, 3.0 * decay_s, arrival_s), FINE, arrival_s)
    assert found["c50_db"] == pytest.approx(c50, abs=0.02)
    assert found["c80_db"] == pytest.approx(c80, abs=0.02)
    assert found["d50"] == pytest.approx(d50, abs=1e-4)
    assert found["ts_ms"] == pytest.approx(ts, abs=0.02)
    for name in ("edt_s", "t20_s", "t30_s", "first_s", "last_s"):
        assert found[name] == pytest.approx(decay_s, rel=1e-3), name
    assert found["nonlinearity20_permille"] < 0.1
    assert found["nonlinearity30_permille"] < 0.1
    assert abs(found["curvature_percent"]) < 0.1


@pytest.mark.parametrize("bin_s", [1e-3, 5e-4])
def test_bins_of_a_millisecond_are_fine_enough(bin_s: float) -> None:
    coarse = read(exponential(0.25, bin_s, 0.75, 0.0041), bin_s, 0.0041)
    assert coarse["t20_s"] == pytest.approx(0.25, rel=1e-3)
    assert coarse["c50_db"] == pytest.approx(11.717, abs=0.02)
    assert coarse["ts_ms"] == pytest.approx(18.0956, abs=0.02)


def test_direct_sound_counts_at_time_zero() -> None:
    # direct energy 3 and 1 after it, T = 0.5 s: D50 = (3 + 0.74881)/4, Ts = 36.1912/4; EDT starts 6 dB down
    found = read(exponential(0.5, FINE, 1.5, 0.003), FINE, 0.003, direct=3.0)
    assert found["d50"] == pytest.approx((3.0 + 0.74881) / 4.0, abs=1e-4)
    assert found["ts_ms"] == pytest.approx(36.1912 / 4.0, abs=0.01)
    assert found["direct_db"] == pytest.approx(10.0 * np.log10(3.0), abs=1e-9)
    assert found["t20_s"] == pytest.approx(0.5, rel=1e-3)
    assert found["edt_s"] == pytest.approx(0.5, rel=1e-3)  # from -6 dB on, at the same rate
    alone = read(exponential(0.5, FINE, 1.5, 0.003), FINE, 0.003, direct=12.0)
    assert np.isnan(alone["edt_s"]), "direct sound alone takes the first 10 dB"


@pytest.mark.parametrize("cut_s", [0.35, 0.45, 0.6])
def test_a_cut_tail_is_put_back(cut_s: float) -> None:
    """0.5 s of decay cut at 42 to 72 dB: nothing moves, where without the tail T30 would come out short."""
    whole = exponential(0.5, 5e-4, 1.5)
    cut = whole[: round(cut_s / 5e-4)]
    tail, tail_s = tail_of(cut, 5e-4)
    assert tail == pytest.approx(np.exp(-K60 / 0.5 * cut_s), rel=1e-9)
    assert tail_s == pytest.approx(0.5 / K60, rel=1e-9)
    found, uncut = read(cut, 5e-4), read(whole, 5e-4)
    assert found["t20_s"] == pytest.approx(uncut["t20_s"], rel=1e-6)
    assert found["ts_ms"] == pytest.approx(uncut["ts_ms"], rel=1e-6)
    assert found["c50_db"] == pytest.approx(uncut["c50_db"], abs=1e-6)
    time_s = 5e-4 * np.arange(len(cut))
    if cut_s < 0.4:
        assert by_hand(cut, 0.0, time_s, -5.0, -35.0) < 0.99 * 0.5


def test_figures_are_not_given_beyond_what_was_followed() -> None:
    # T = 0.5 s: 120 dB/s. 10 dB below the end of each fit are needed: 20 dB for EDT, 35 for T20, 45 for T30
    for length_s, names in (
        (0.15, []),
        (0.20, ["edt_s"]),
        (0.31, ["edt_s", "t20_s"]),
        (0.39, ["edt_s", "t20_s", "t30_s"]),
    ):
        curves = integrate_backward(exponential(0.5, 5e-4, length_s), 5e-4, 0.0, ZERO)
        assert float(range_db(curves)) == pytest.approx(120.0 * length_s, abs=0.2)
        found = dict(zip(FIGURES, figures(curves), strict=True))
        assert [name for name in ("edt_s", "t20_s", "t30_s") if np.isfinite(found[name])] == names


def test_energy_that_does_not_fall_has_no_tail_and_no_range() -> None:
    flat = np.ones(1000)
    assert tail_of(flat, 1e-3) == (0.0, 0.0)
    curves = integrate_backward(flat, 1e-3, 0.0, ZERO)
    assert float(range_db(curves)) == pytest.approx(7.0, abs=0.1)  # a fifth of it all
    assert np.isnan(figures(curves)[FIGURES.index("t20_s")])


def test_a_double_slope_is_seen() -> None:
    """0.2 s, and 0.8 s from 20 dB down: slow at the end, bent, and curved well above the 10 % of ISO 3382-2 Annex B."""
    energy = exponential(0.2, 2.5e-4, 2.4) + exponential(0.8, 2.5e-4, 2.4, energy=0.01)
    found = read(energy, 2.5e-4)
    assert found["curvature_percent"] > 20.0
    assert found["nonlinearity30_permille"] > 10.0
    assert found["first_s"] < 0.25
    assert found["last_s"] > 0.6
    time_s = 2.5e-4 * np.arange(len(energy))
    assert found["t30_s"] == pytest.approx(by_hand(energy, 0.0, time_s, -5.0, -35.0), rel=5e-3)
    assert found["t20_s"] == pytest.approx(by_hand(energy, 0.0, time_s, -5.0, -25.0), rel=5e-3)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0.0, 1.0), min_size=12, max_size=60),
    st.floats(0.0, 0.9),
    st.floats(0.0, 2.0),
    st.floats(0.0, 0.04),
)
def test_backward_integral_by_hand(energies: list[float], into: float, direct: float, at: float) -> None:
    """Against sums over all that comes later, bins cut by hand."""
    energy, bin_s = np.array(energies) + 1e-3, 1e-3
    arrival = (2 + into) * bin_s
    curves = integrate_backward(energy, bin_s, arrival, np.array(direct))
    tail = float(tail_of(energy[2:] + np.eye(len(energy) - 2)[0] * energy[:2].sum(), bin_s)[0])

    def later_than(time_s: float) -> float:
        left = tail
        for k, each in enumerate(energy):
            begin, end = max(k * bin_s, arrival), (k + 1) * bin_s
            if k < 2:
                begin, end = arrival, 3 * bin_s  # too early: counted with the first bin after direct sound
            left += each * np.clip((end - (arrival + time_s)) / (end - begin), 0.0, 1.0)
        return left

    if arrival + at < len(energy) * bin_s:
        assert still_to_come(curves, np.array([at]))[0] == pytest.approx(later_than(at), rel=1e-9)
        assert level_curves_db(curves, np.array([at]))[0] == pytest.approx(
            10.0 * np.log10(later_than(at) / (later_than(0.0) + direct)), abs=1e-9
        )
    assert float(curves.total) == pytest.approx(energy.sum() + tail + direct)
    assert (np.diff(curves.energy) <= 0.0).all()


def test_leading_axes_go_through_alike() -> None:
    rows = np.stack([exponential(t, 5e-4, 1.0, 0.005) for t in (0.2, 0.3, 0.4, 0.25)]).reshape(2, 2, -1)
    direct = np.array([[0.1, 0.2], [0.0, 1.0]])
    curves = integrate_backward(rows, 5e-4, 0.005, direct)
    together = figures(curves)
    assert together.shape == (2, 2, len(FIGURES))
    for i in range(2):
        for j in range(2):
            alone = figures(integrate_backward(rows[i, j], 5e-4, 0.005, direct[i, j]))
            assert np.allclose(together[i, j], alone, rtol=1e-12, equal_nan=True)
    assert set(clarity(curves)) < set(FIGURES)


def test_nothing_is_said_of_silence() -> None:
    silent = figures(integrate_backward(np.zeros(500), 1e-3, 0.01, ZERO))
    assert np.isnan(silent).all()
    seconds, bend = line_fit(integrate_backward(np.zeros(500), 1e-3, 0.01, np.array(1.0)), 0.0, -10.0)
    assert np.isnan(seconds)
    assert np.isnan(bend)


def test_direct_sound_must_be_inside() -> None:
    with pytest.raises(ValueError, match="after the last of 100 bins"):
        integrate_backward(np.ones(100), 1e-3, 0.2, ZERO)
