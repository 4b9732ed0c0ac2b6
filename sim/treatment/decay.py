"""What panels do to the decay of the whole room: statistical, and rough in small rooms.

Eyring: T = 24 ln 10/c V/(-S ln(1 - a) + 4 m V), a the mean absorption coefficient of all surfaces S at random incidence
(Eyring, J. Acoust. Soc. Am. 1 (1930) 217; Kuttruff, Room Acoustics), m what air takes.  A panel takes the place of the
wall behind it with the coefficient of its layers at random incidence.

Neglected: that the absorption of a small room is not spread evenly, the sides of panels, what they shade, and people.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..acoustics.air import attenuation_db_per_m
from ..acoustics.bands import octave_bands, sample_frequencies
from ..acoustics.constants import HIGHEST_LAB_ABSORPTION
from ..acoustics.layered_reflection import random_incidence
from ..arrays import FloatArray, frozen
from ..placement.panels import PlacedPanel
from ..placement.stage import Stage
from ..responses.verdict import nominal_reverberation_s
from .records import Decay

TOLERANCE_S = 0.05
"""Allowed off the nominal time in the middle octaves (ITU-R BS.1116-3 and EBU Tech 3276, value from memory)."""
MIDDLE_HZ = (500.0, 2000.0)
LOW_HZ = (125.0, 250.0)
TOP_HZ = (2000.0, 8000.0)
TOP_ONLY = 2.0
"""A plan that shortens the top by this many times the share it shortens the low octaves is said to (our choice)."""
POINTS_IN_AN_OCTAVE = 6

ROUGH = (
    "Decay by Eyring's formula is statistical: it takes the absorption as spread evenly and the room as large against "
    "the wavelength, and in a small room it is rough, below the transition frequency meaningless."
)


def decay_of(bare: Stage, treated: Stage) -> Decay:
    """Decay of a room before and after panels are added; octaves 125 Hz to 8 kHz."""
    before, after = eyring_s(bare), eyring_s(treated)
    octaves = octave_bands(63, 8000)
    keep = octaves.nominal_hz >= 125.0
    aim = nominal_reverberation_s(bare.volume_m3)
    mid = octaves.nominal_hz[keep]
    return Decay(
        frozen(mid), frozen(before[keep]), frozen(after[keep]), aim,
        (ROUGH, *_warnings(mid, before[keep], after[keep], aim)),
    )  # fmt: skip


def eyring_s(stage: Stage) -> FloatArray:
    """Decay time (8,) in seconds of the octaves 63 Hz to 8 kHz."""
    areas = np.array([facet.area_m2 for facet in stage.room.facets])
    absorption = np.minimum(stage.absorption, 1.0)
    absorbed = areas @ absorption
    for panel, coefficients in zip(stage.panels, _panel_coefficients(stage, stage.panels), strict=True):
        area = float(np.prod(np.linalg.norm(np.diff(panel.corners_m[:3], axis=0), axis=1)))
        absorbed = absorbed + area * (coefficients - _behind(stage, panel, absorption, areas))
    surface = float(areas.sum())
    mean = np.clip(absorbed / surface, 1e-6, HIGHEST_LAB_ABSORPTION)
    air = attenuation_db_per_m(octave_bands(63, 8000).exact_hz, stage.air) / (10.0 * np.log10(np.e))
    taken = -surface * np.log1p(-mean) + 4.0 * air * stage.volume_m3
    return np.asarray(24.0 * np.log(10.0) / stage.air.speed_of_sound_m_s * stage.volume_m3 / taken)


def _panel_coefficients(stage: Stage, panels: Sequence[PlacedPanel]) -> list[FloatArray]:
    frequencies = sample_frequencies(octave_bands(63, 8000), POINTS_IN_AN_OCTAVE)
    known: dict[int, FloatArray] = {}
    for number in {panel.finish for panel in panels}:
        shares = random_incidence(stage.finishes[number].build_up, frequencies.ravel(), air=stage.air)
        known[number] = shares.reshape(frequencies.shape).mean(axis=1)
    return [known[panel.finish] for panel in panels]


def _behind(stage: Stage, panel: PlacedPanel, absorption: FloatArray, areas: FloatArray) -> FloatArray:
    """Coefficients (8,) of what a panel hides: its plane's facets, the one at its middle if that is known."""
    from ..geometry.kernels import inside_polygon

    members = np.flatnonzero(stage.room.arrays.plane == panel.plane)
    middle = panel.corners_m.mean(axis=0)
    for n in members:
        facet = stage.room.facets[n]
        x, y = facet.to_plane(middle)
        if inside_polygon(float(x), float(y), facet.border):
            return np.asarray(absorption[n], dtype=np.float64)
    return np.asarray(areas[members] @ absorption[members] / areas[members].sum())


def _warnings(mid_hz: FloatArray, before: FloatArray, after: FloatArray, aim_s: float) -> list[str]:
    said = []
    middle = _mean(mid_hz, after, MIDDLE_HZ)
    if middle < aim_s - TOLERANCE_S:
        said.append(
            f"The room would be dry: {middle:.2f} s in the middle octaves, more than {TOLERANCE_S:.2f} s below the "
            f"{aim_s:.2f} s that suit its volume. Take fewer or smaller panels, or scatter instead."
        )
    elif middle > aim_s + TOLERANCE_S:
        said.append(
            f"The room stays lively: {middle:.2f} s in the middle octaves where {aim_s:.2f} s suit its volume; this "
            "plan is for early reflections only."
        )
    top = 1.0 - _mean(mid_hz, after, TOP_HZ) / _mean(mid_hz, before, TOP_HZ)
    low = 1.0 - _mean(mid_hz, after, LOW_HZ) / _mean(mid_hz, before, LOW_HZ)
    if top > 0.1 and top > TOP_ONLY * low:
        said.append(
            f"It takes {100 * top:.0f} % off the decay of the top octaves and {100 * low:.0f} % off that of 125 and "
            "250 Hz: more of it would make the room dull and leave the bass as it is. Treat the low end separately."
        )
    return said


def _mean(mid_hz: FloatArray, times: FloatArray, within: tuple[float, float]) -> float:
    return float(times[(mid_hz >= within[0]) & (mid_hz <= within[1])].mean())
