"""Sound that meets an absorber in layers: impedance, complex reflection factor, and where the models end."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from sim.acoustics.air import Air
from sim.acoustics.layers import AirGap, BuildUp, Membrane, PerforatedSheet, PorousLayer, layer_words
from sim.acoustics.materials import reflection_factor
from sim.acoustics.porous import porous_fluid, trusted, trusted_frequencies_hz
from sim.acoustics.resonators import sheet_impedance
from sim.arrays import BoolArray, ComplexArray, FloatArray, frozen


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


# Sound that meets an absorber: impedance and complex reflection factor at the real angle, and random incidence.
#
# Pressure and normal velocity are carried from the wall to the face, layer by layer (Allard & Atalla, Propagation of
# Sound in Porous Media, 2009, chapters 2 and 11; Cox & D'Antonio, Acoustic Absorbers and Diffusers).  All layers are
# taken as endless in their plane: what the size of a panel does is in `patches`.

FIELD_INCIDENCE_DEG: Final = 78.0
"""Angle up to which sound of a reverberant room is taken to arrive (Beranek, Noise and Vibration Control)."""
GRAZING_COS: Final = 1e-9
"""Smallest cosine used, in place of exactly grazing incidence."""
ANGLES_IN_A_MEAN: Final = 256
STANDARD_AIR: Final = Air()
"""20 C, 50 % relative humidity, 101.325 kPa."""


def surface_impedance(
    build_up: BuildUp, frequencies_hz: ArrayLike, cos_angle: ArrayLike, air: Air = STANDARD_AIR
) -> ComplexArray:
    """Pressure over normal velocity at the face in Pa s/m, shape (a, f), for cosines (a,) of the angle to the normal.

    Endless where the face does not give way at all.  Raises ValueError for a frequency or a cosine that is not
    above zero, or a cosine above 1.
    """
    pressure, velocity = _at_the_face(build_up, frequencies_hz, cos_angle, air)
    with np.errstate(divide="ignore", invalid="ignore"):
        impedance: ComplexArray = pressure / velocity
    impedance[velocity == 0.0] = np.inf
    return impedance


def reflection_factor_at(
    build_up: BuildUp, frequencies_hz: ArrayLike, angles_rad: ArrayLike, air: Air = STANDARD_AIR
) -> ComplexArray:
    """Complex pressure reflection factor, shape (a, f), at angles (a,) in rad between the ray and the normal.

    R = (Z cos t - rho c)/(Z cos t + rho c), written with pressure and velocity so that it also holds for a rigid face.
    Its magnitude never exceeds 1.  Raises ValueError for a frequency not above zero or an angle outside 0 to pi/2.
    """
    angles = np.atleast_1d(np.asarray(angles_rad, dtype=np.float64))
    if not np.all((angles >= 0.0) & (angles <= 0.5 * np.pi + 1e-12)):
        raise ValueError("an angle to the normal lies outside 0 to 90 degrees; measure it from the normal")
    cosines = np.maximum(np.cos(angles), GRAZING_COS)
    pressure, velocity = _at_the_face(build_up, frequencies_hz, cosines, air)
    outgoing = pressure * cosines[:, None]
    incoming = air.density_kg_m3 * air.speed_of_sound_m_s * velocity
    factor: ComplexArray = (outgoing - incoming) / (outgoing + incoming)
    return factor


def random_incidence(
    build_up: BuildUp, frequencies_hz: ArrayLike, up_to_deg: float = FIELD_INCIDENCE_DEG, air: Air = STANDARD_AIR
) -> FloatArray:
    """Share of energy taken at random incidence, shape (f,), from 0 to 1.

    Mean of 1 - |R|^2 over the angles from 0 to `up_to_deg`, weighted by sin t cos t (Paris, Philosophical Magazine 5
    (1928) 489-497); 90 degrees is the whole half space, 78 the customary field incidence.  The weight is divided by
    its own integral, so that a surface that takes everything has 1.  A reverberation room (ISO 354) measures more,
    because of diffraction at the edges of a sample.

    Raises ValueError for a limit outside 0 to 90 degrees, and as `reflection_factor_at`.
    """
    if not 0.0 < up_to_deg <= 90.0:
        raise ValueError(f"the largest angle is {up_to_deg:g} degrees; give 78 or 90")
    nodes, weights = _mean_rule()
    angles = np.radians(up_to_deg) * 0.5 * (nodes + 1.0)
    fraction = weights * np.sin(angles) * np.cos(angles)
    factor = reflection_factor_at(build_up, frequencies_hz, angles, air)
    absorbed: FloatArray = (fraction / fraction.sum()) @ (1.0 - np.abs(factor) ** 2)
    return absorbed


@lru_cache(maxsize=1)
def _mean_rule() -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes and weights: exact for the ripples of gaps up to a metre at the highest frequencies."""
    nodes, weights = np.polynomial.legendre.leggauss(ANGLES_IN_A_MEAN)
    return frozen(nodes), frozen(weights)


def _at_the_face(
    build_up: BuildUp, frequencies_hz: ArrayLike, cos_angle: ArrayLike, air: Air
) -> tuple[ComplexArray, ComplexArray]:
    """Pressure and normal velocity (toward the wall) at the face, (a, f), up to a common factor."""
    frequencies = np.atleast_1d(np.asarray(frequencies_hz, dtype=np.float64))
    cosines = np.atleast_1d(np.asarray(cos_angle, dtype=np.float64))
    if not np.all(frequencies > 0.0):
        raise ValueError("a frequency is zero or below; absorbers are worked out above 0 Hz only")
    if not np.all((cosines > 0.0) & (cosines <= 1.0)):
        raise ValueError("the cosine of an angle lies outside 0 to 1; measure the angle from the normal")
    pressure, velocity = _at_the_wall(build_up, frequencies, cosines, air)
    for layer in reversed(build_up.layers):
        if isinstance(layer, PorousLayer | AirGap):
            pressure, velocity = _through(layer, pressure, velocity, frequencies, cosines, air)
        else:
            pressure = pressure + sheet_impedance(layer, frequencies, air) * velocity
    return pressure, velocity


def _at_the_wall(
    build_up: BuildUp, frequencies: FloatArray, cosines: FloatArray, air: Air
) -> tuple[ComplexArray, ComplexArray]:
    """Pressure and velocity that the backing allows: (1 + R) and (1 - R) cos t/(rho c), or Z and 1."""
    backing = build_up.backing
    shape = (len(cosines), len(frequencies))
    if backing.impedance_pa_s_m is not None:
        return np.full(shape, complex(backing.impedance_pa_s_m)), np.ones(shape, dtype=np.complex128)
    factor = np.ones(len(frequencies))
    if backing.absorption is not None:
        factor = reflection_factor(backing.absorption, frequencies)
    resistance = air.density_kg_m3 * air.speed_of_sound_m_s
    pressure = np.broadcast_to(1.0 + factor, shape).astype(np.complex128)
    velocity = ((1.0 - factor) * cosines[:, None] / resistance).astype(np.complex128)
    return pressure, velocity


def _through(
    layer: PorousLayer | AirGap,
    pressure: ComplexArray,
    velocity: ComplexArray,
    frequencies: FloatArray,
    cosines: FloatArray,
    air: Air,
) -> tuple[ComplexArray, ComplexArray]:
    """Carry pressure and velocity from the back of a layer to its front.

    With kz = sqrt(k^2 - k0^2 sin^2 t), Zn = Zc k/kz: p' = p cos(kz d) + j Zn sin(kz d) v and
    v' = v cos(kz d) + j sin(kz d)/Zn p.  Both are multiplied by e^{Im kz d}, so that nothing overflows in a thick
    layer, and sin(kz d)/kz is formed as one, so that nothing is divided by zero at grazing incidence.
    """
    free_wavenumber = 2.0 * np.pi * frequencies / air.speed_of_sound_m_s
    if isinstance(layer, PorousLayer):
        fluid = porous_fluid(layer.flow_resistivity_pa_s_m2, frequencies, air, layer.model)
        impedance, wavenumber = fluid.impedance_pa_s_m, fluid.wavenumber_rad_m
    else:
        impedance = np.full(len(frequencies), complex(air.density_kg_m3 * air.speed_of_sound_m_s))
        wavenumber = free_wavenumber.astype(np.complex128)
    if layer.divided:
        inward = np.broadcast_to(wavenumber, pressure.shape)
    elif isinstance(layer, AirGap):
        inward = (free_wavenumber * cosines[:, None]).astype(np.complex128)
    else:
        sideways = free_wavenumber**2 * (1.0 - cosines[:, None] ** 2)
        inward = np.sqrt(wavenumber**2 - sideways)  # principal root: Re > 0, Im < 0, travels inward and fades
    depth = layer.thickness_m
    phase = inward * depth
    there = np.exp(1j * phase.real)
    back = np.exp(-1j * phase.real + 2.0 * phase.imag)
    cosine = 0.5 * (there + back)
    small = np.abs(phase) < 1e-6
    ratio = np.where(small, np.exp(phase.imag), (there - back) / (2j * np.where(small, 1.0, phase)))  # sin x/x
    inertia = 1j * impedance * wavenumber * depth * ratio  # j Zn sin(kz d)
    give = 1j * inward**2 * depth * ratio / (impedance * wavenumber)  # j sin(kz d)/Zn
    return pressure * cosine + inertia * velocity, velocity * cosine + give * pressure
