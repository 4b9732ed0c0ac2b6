"""Porous material as a fluid of its own: characteristic impedance and wavenumber from flow resistivity alone.

Two one-parameter models, both fitted to measured fibre blankets whose porosity is close to 1 and whose frame stands
still.  Time convention e^{+j omega t}: losses make the imaginary parts of impedance and wavenumber negative.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.air import Air
from sim.arrays import BoolArray, ComplexArray, FloatArray

PorousModel = Literal["miki", "delany-bazley"]
POROUS_MODELS: Final[tuple[PorousModel, ...]] = ("miki", "delany-bazley")

TRUSTED_RATIO: Final = (0.01, 1.0)
"""Frequency over flow resistivity, Hz per Pa s/m2, between which the fits were made (Delany & Bazley 1970)."""

FLOW_RESISTIVITY_PA_S_M2: Final = (500.0, 500_000.0)
"""Smallest and largest flow resistivity taken; usual wools have 5 000 to 75 000 (common practice, no source)."""


@dataclass(frozen=True)
class PorousFluid:
    """What replaces the porous material in a calculation; both arrays have the shape of the frequencies.

    `impedance_pa_s_m` is the characteristic impedance, `wavenumber_rad_m` the complex wavenumber.
    """

    impedance_pa_s_m: ComplexArray
    wavenumber_rad_m: ComplexArray


def check_flow_resistivity(flow_resistivity_pa_s_m2: float) -> None:
    """Raise ValueError ("found; remedy") for a flow resistivity that no absorber has."""
    low, high = FLOW_RESISTIVITY_PA_S_M2
    if low <= flow_resistivity_pa_s_m2 <= high:
        return
    remedy = f"give {low:g} to {high:.0f} Pa s/m2; usual wools have 5000 to 75000"
    if low <= 1000.0 * flow_resistivity_pa_s_m2 <= high:
        remedy = (
            f"if it is meant in kPa s/m2, write {1000.0 * flow_resistivity_pa_s_m2:.0f}"
            f" (the unit is Pa s/m2, from {low:g} to {high:.0f})"
        )
    raise ValueError(f"the flow resistivity is {flow_resistivity_pa_s_m2:g} Pa s/m2; {remedy}")


def porous_fluid(
    flow_resistivity_pa_s_m2: float, frequencies_hz: ArrayLike, air: Air, model: PorousModel = "miki"
) -> PorousFluid:
    """Characteristic impedance and wavenumber of a porous material, by the model named.

    "miki": Miki, J. Acoust. Soc. Jpn. (E) 11 (1990) 19-24, Y = 1000 f/sigma,
    Zc = rho c (1 + 5.50 Y^-0.632 - j 8.43 Y^-0.632), k = (omega/c)(1 + 7.81 Y^-0.618 - j 11.41 Y^-0.618).
    "delany-bazley": Delany & Bazley, Applied Acoustics 3 (1970) 105-116, in the form with X = rho f/sigma,
    Zc = rho c (1 + 0.0571 X^-0.754 - j 0.0870 X^-0.732), k = (omega/c)(1 + 0.0978 X^-0.700 - j 0.1890 X^-0.595).

    At the low end (f/sigma under 0.0011 for Miki, under 0.0117 for Delany-Bazley, which is inside its own range) the
    fits describe a material whose stiffness gives off energy; there the stiffness keeps its amount and is made free
    of loss, so that no layer ever reflects more than arrives.

    Raises ValueError for a frequency that is not above zero, a flow resistivity no absorber has or an unknown model.
    """
    check_flow_resistivity(flow_resistivity_pa_s_m2)
    if model not in POROUS_MODELS:
        raise ValueError(f'the porous model is "{model}"; the models are ' + " and ".join(POROUS_MODELS))
    frequencies = np.asarray(frequencies_hz, dtype=np.float64)
    if not np.all(frequencies > 0.0):
        raise ValueError("a frequency is zero or below; absorbers are worked out above 0 Hz only")
    if model == "miki":
        ratio = 1000.0 * frequencies / flow_resistivity_pa_s_m2
        impedance = np.asarray(1.0 + (5.50 - 8.43j) * ratio**-0.632, dtype=np.complex128)
        index = np.asarray(1.0 + (7.81 - 11.41j) * ratio**-0.618, dtype=np.complex128)
    else:
        ratio = air.density_kg_m3 * frequencies / flow_resistivity_pa_s_m2
        impedance = np.asarray(1.0 + 0.0571 * ratio**-0.754 - 0.0870j * ratio**-0.732, dtype=np.complex128)
        index = np.asarray(1.0 + 0.0978 * ratio**-0.700 - 0.1890j * ratio**-0.595, dtype=np.complex128)
    impedance, index = _made_passive(impedance, index)
    speed = air.speed_of_sound_m_s
    return PorousFluid(
        impedance_pa_s_m=air.density_kg_m3 * speed * impedance,
        wavenumber_rad_m=2.0 * np.pi * frequencies / speed * index,
    )


def _made_passive(impedance: ComplexArray, index: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
    """Keep density Zc k and take the loss-free amount of the bulk modulus Zc/k wherever its loss is negative."""
    density, modulus = impedance * index, impedance / index
    passive = np.where(modulus.imag < 0.0, np.abs(modulus), modulus)
    # The principal roots have a positive real part, and density always lies in the lower half plane, so the
    # wave travels inward and fades.
    return np.sqrt(density * passive), np.sqrt(density / passive)


def trusted_frequencies_hz(flow_resistivity_pa_s_m2: float) -> tuple[float, float]:
    """Lowest and highest frequency in Hz at which either model is trusted: 0.01 to 1 times the flow resistivity."""
    low, high = TRUSTED_RATIO
    return low * flow_resistivity_pa_s_m2, high * flow_resistivity_pa_s_m2


def trusted(flow_resistivity_pa_s_m2: float, frequencies_hz: ArrayLike) -> BoolArray:
    """Whether each frequency lies within the range of the models; same shape as the frequencies."""
    frequencies: FloatArray = np.asarray(frequencies_hz, dtype=np.float64)
    low, high = trusted_frequencies_hz(flow_resistivity_pa_s_m2)
    within: BoolArray = (frequencies >= low) & (frequencies <= high)
    return within
