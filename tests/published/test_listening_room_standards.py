"""Values of standards and papers on listening rooms."""

from __future__ import annotations

import pytest

from sim.acoustics.bands import transition_frequency_hz
from sim.blueprint.treatment import PRESETS, Target
from sim.responses.transition import nominal_reverberation_s


@pytest.mark.parametrize(
    ("volume_m3", "seconds"),
    [(20, 0.1462), (30, 0.1674), (40, 0.1842), (60, 0.2109), (80, 0.2321), (100, 0.2500), (200, 0.3150)],
)
def test_nominal_decay_time(volume_m3: float, seconds: float) -> None:
    """ITU-R BS.1116-3 (2015), EBU Tech 3276 (1998): 0.25 s times the cube root of V/100 m3."""
    assert nominal_reverberation_s(volume_m3) == pytest.approx(seconds, abs=5e-5)


@pytest.mark.parametrize(("seconds", "volume_m3", "hertz"), [(0.4, 60.0, 163.30), (0.25, 100.0, 100.00)])
def test_transition_frequency(seconds: float, volume_m3: float, hertz: float) -> None:
    """Schroeder, J. Acoust. Soc. Am. 99 (1996) 3240: 2000 sqrt(T/V)."""
    assert transition_frequency_hz(seconds, volume_m3) == pytest.approx(hertz, abs=0.01)


def test_presets_are_called_by_their_numbers() -> None:
    """ITU-R BS.1116-3 section 8 and EBU Tech 3276 section 2.2: 10 dB below, 15 ms, 1 to 8 kHz."""
    for name in PRESETS:
        preset = Target.model_validate({"preset": name})
        assert name == f"{preset.level_db:g} dB to {preset.window_ms[1]:g} ms"
        assert preset.window_ms[0] == 0.0
        assert preset.band_hz[1] == 8000.0
    assert Target.model_validate({"preset": "-10 dB to 15 ms"}).band_hz == (1000.0, 8000.0)
    assert Target.model_validate({"preset": "-20 dB to 20 ms"}).band_hz == (500.0, 8000.0)
    assert len(PRESETS) == 3
