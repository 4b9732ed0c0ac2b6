"""Where the models of absorbers leave the range they were made for, in sentences and per frequency."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.air import Air
from sim.acoustics.layers import BuildUp, Membrane, PerforatedSheet, PorousLayer, layer_words
from sim.acoustics.porous import trusted, trusted_frequencies_hz
from sim.arrays import BoolArray, FloatArray


def within_range(build_up: BuildUp, frequencies_hz: ArrayLike, air: Air | None = None) -> BoolArray:
    """Whether every layer's model holds at each frequency; shape (f,)."""
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    good = np.ones(frequencies.shape, dtype=np.bool_)
    for layer in build_up.layers:
        if isinstance(layer, PorousLayer):
            good &= trusted(layer.flow_resistivity_pa_s_m2, frequencies)
        elif isinstance(layer, PerforatedSheet):
            good &= frequencies <= _finest_hz(layer, air if air is not None else Air())
    return good


def out_of_range(build_up: BuildUp, frequencies_hz: ArrayLike, air: Air | None = None) -> tuple[str, ...]:
    """Sentences on layers whose model does not hold at some of the frequencies (f,); empty when all is well.

    Porous layers: frequency over flow resistivity outside 0.01 to 1 (Delany & Bazley 1970; Miki 1990).  Perforated
    sheets: holes half a wavelength apart or more no longer act as an even sheet.  Membranes: stiffness is left out,
    which is said whenever there is one.
    """
    frequencies = np.sort(np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64)))
    sentences: list[str] = []
    for layer in build_up.layers:
        if isinstance(layer, PorousLayer):
            low, high = trusted_frequencies_hz(layer.flow_resistivity_pa_s_m2)
            sentences += _outside(frequencies, low, high, f"The model of the layer ({layer_words(layer)})")
        elif isinstance(layer, PerforatedSheet):
            finest = _finest_hz(layer, air if air is not None else Air())
            sentences += _outside(frequencies, 0.0, finest, f"The layer ({layer_words(layer)}) as an even sheet")
        elif isinstance(layer, Membrane):
            sentences.append(
                f"The stiffness of the layer ({layer_words(layer)}) is left out: a board or a stretched skin takes "
                "less, and at other frequencies, than a limp sheet of its mass."
            )
    return tuple(dict.fromkeys(sentences))


def _finest_hz(layer: PerforatedSheet, air: Air) -> float:
    return air.speed_of_sound_m_s / (2.0 * layer.pitch_m)


def _outside(frequencies: FloatArray, low: float, high: float, what: str) -> Sequence[str]:
    below, above = frequencies[frequencies < low], frequencies[frequencies > high]
    beyond = [_span(part) for part in (below, above) if part.size]
    if not beyond:
        return ()
    trust = f"from {_hertz(low)} to {_hertz(high)}" if low > 0.0 else f"up to {_hertz(high)}"
    return (f"{what} is trusted {trust}; at {' and at '.join(beyond)} it is a guess.",)


def _span(frequencies: FloatArray) -> str:
    low, high = float(frequencies[0]), float(frequencies[-1])
    return _hertz(low) if low == high else f"{_hertz(low)} to {_hertz(high)}"


def _hertz(frequency: float) -> str:
    return f"{frequency / 1000.0:.3g} kHz" if frequency >= 1000.0 else f"{frequency:.3g} Hz"
