"""From pressures as they were measured to directivity re the axis: what is refused, what is assumed and said.

All readers of files end here, so that the same fault is met with the same sentence whatever the kind of file.
"""

from __future__ import annotations

from functools import partial
from typing import Final

import numpy as np

from sim.arrays import BoolArray, ComplexArray, FloatArray, frozen
from sim.loudspeakers.directivity_data import LARGEST_GAP_DEG, DirectivityData, Layout, rings, unit_phasors
from sim.loudspeakers.orbits import on_orbits, whole_orbits, without_repeats

ON_AXIS_DEG: Final = 1.0
"""A direction this near to the axis counts as the axis."""
LEAST_REACH_DEG: Final = 10.0
"""Data that end nearer to the axis say nothing on directivity."""
FINE_DEG: Final = 8.0
"""Nowhere on a grid of ten degrees is the nearest measured direction farther away."""
LOUDER_DB: Final = 3.0
FAR_LOUDER_DB: Final = 20.0
"""Louder than the axis by this much, averaged over frequency: worth a word, and impossible."""
LOWEST_HZ: Final = 100.0
HIGHEST_HZ: Final = 16000.0
"""Data that reach this far leave nothing to be held that is worth a word."""
LARGEST: Final = 1e20
"""Nothing that was measured is larger, in whatever unit; damaged files hold such numbers."""
QUIET: Final = 0.1
"""Directions 20 dB below the axis do not tell whether phases are known."""
MANY: Final = 0.1
COARSE_OCTAVES: Final = 0.6
_SAME_KEY: Final = 1e-4


def measured_data(
    directions: FloatArray,
    frequencies_hz: FloatArray,
    values: ComplexArray,
    *,
    has_phase: bool,
    source: str,
    notes: tuple[str, ...] = (),
    horizontal: BoolArray | None = None,
) -> DirectivityData:
    """Normalise measured pressures (p, f) toward unit vectors (p, 3) to the axis.

    `horizontal` (p,) tells which directions belong to the horizontal orbit, the others being on the vertical one; left
    out, data all on these two are taken for orbits, others for a grid over the sphere.

    Raises ValueError, "what was found; what would work", for numbers that are not finite, frequencies that repeat,
    directions that contradict each other, or when nothing was measured on the axis, it is silent, or nothing else was.
    """
    order = np.argsort(frequencies_hz)
    frequencies, values = frequencies_hz[order], values[:, order]
    _refuse_what_is_no_number(directions, frequencies, values)
    assumed = list(notes)
    layout: Layout = "sphere"
    flags = on_orbits(directions) if horizontal is None else horizontal
    if flags is not None:
        layout = "two orbits"
        _refuse_a_narrow_reach(directions)
        directions, flags, values, said = whole_orbits(directions, flags, values)
    else:
        kept, values, said = without_repeats(np.round(directions / _SAME_KEY), values, partial(_reported, directions))
        directions, flags = directions[kept], np.zeros(len(kept), dtype=np.bool_)
        _refuse_a_narrow_reach(directions)
    assumed += said
    normalised = _re_axis(directions, frequencies, values)
    has_phase = has_phase and bool((np.abs(np.angle(normalised)) > 1e-9).any())
    if not has_phase:
        normalised = np.abs(normalised).astype(np.complex128)
        assumed.append("it holds no phase: all directions are taken to be in step with the axis")
    else:
        assumed += _out_of_step(directions, frequencies, normalised)
    if layout == "sphere":
        assumed += _coverage(directions)
    assumed += _louder_aside(directions, normalised) + _frequencies(frequencies)
    return DirectivityData(
        layout,
        frozen(directions),
        frozen(flags.astype(np.float64)),
        frozen(frequencies),
        frozen(normalised),
        has_phase,
        source,
        tuple(dict.fromkeys(assumed)),
    )


def _refuse_what_is_no_number(directions: FloatArray, frequencies: FloatArray, values: ComplexArray) -> None:
    for name, array in (("directions", directions), ("frequencies", frequencies), ("data", values)):
        if not np.isfinite(array).all():
            raise ValueError(f"its {name} hold numbers that are not finite; export it again")
        if np.abs(array).max(initial=0.0) > LARGEST:
            raise ValueError(f"its {name} hold numbers beyond {LARGEST:g}; export it again")
    if not frequencies.size or not frequencies[0] > 0.0:
        raise ValueError("it has no frequency above zero; give at least one")
    again = np.flatnonzero(np.diff(frequencies) <= 0.0)
    if len(again):
        raise ValueError(f"the frequency {frequencies[again[0]]:g} Hz is there twice; keep one of each")


def _refuse_a_narrow_reach(directions: FloatArray) -> None:
    farthest = _off_axis_deg(directions).max()
    if ON_AXIS_DEG < farthest < LEAST_REACH_DEG:
        raise ValueError(
            f"all directions lie within {farthest:.1f} degrees of the axis; give angles in degrees, not in radians, "
            "and measure farther round"
        )


def _re_axis(directions: FloatArray, frequencies: FloatArray, values: ComplexArray) -> ComplexArray:
    off = _off_axis_deg(directions)
    if off.min() > ON_AXIS_DEG:
        raise ValueError(
            f"nothing was measured on the axis, the nearest direction is {off.min():.0f} degrees off it; "
            "add the measurement at 0 degrees"
        )
    if off.max() <= ON_AXIS_DEG:
        raise ValueError("only the axis was measured; add other directions, every 10 degrees if you can")
    ahead = off <= ON_AXIS_DEG
    loudness = np.sqrt(np.square(np.abs(values[ahead])).mean(axis=0))
    silent = frequencies[loudness <= float(loudness.max()) * 1e-6]
    if len(silent):
        raise ValueError(f"the axis is silent at {silent[0]:.0f} Hz; leave out frequencies without a signal")
    normalised: ComplexArray = values / (loudness * unit_phasors(values[ahead])[0])
    normalised[off < 1e-3] = 1.0  # both orbits hold it
    return normalised


def _coverage(directions: FloatArray) -> list[str]:
    """Sentences on what a grid over the sphere leaves open."""
    from scipy.spatial import cKDTree

    said = []
    probes = rings(5.0)
    reach = np.degrees(2.0 * np.arcsin(np.minimum(0.5 * cKDTree(directions).query(probes)[0], 1.0)))
    farthest = float(_off_axis_deg(directions).max())
    if farthest < 180.0 - LARGEST_GAP_DEG:
        said.append(f"nothing was measured beyond {farthest:.0f} degrees off the axis: the nearest direction is held")
        reach = reach[_off_axis_deg(probes) <= farthest]
    widest = float(reach.max())
    if widest > LARGEST_GAP_DEG:
        said.append(
            f"the grid has holes, up to {widest:.0f} degrees from the nearest measured direction: it is held there"
        )
    elif widest > FINE_DEG:
        said.append(
            f"the grid is coarse, up to {widest:.0f} degrees from the nearest measured direction: straight lines are "
            "drawn in between"
        )
    return said


def _out_of_step(directions: FloatArray, frequencies: FloatArray, normalised: ComplexArray) -> list[str]:
    """From where on the phase turns so far between neighbours that what lies between them is a guess.

    A source within r of the point it was turned about has spherical harmonics up to about the order k r, which steps
    of pi/(k r) just resolve: half a turn between neighbours.  A third of a turn is two thirds of that.
    """
    from scipy.spatial import cKDTree

    away, near = cKDTree(directions).query(directions, k=min(6, len(directions)))
    other = np.argmax(away > np.sin(np.radians(ON_AXIS_DEG)), axis=1)  # axis and rear may be there twice
    neighbour = np.asarray(near)[np.arange(len(directions)), other]
    loud = (np.abs(normalised) > QUIET) & (np.abs(normalised[neighbour]) > QUIET)
    turned = np.abs(np.angle(normalised * normalised[neighbour].conj())) > 2.0 * np.pi / 3.0
    fraction = (turned & loud).sum(axis=0) / np.maximum(loud.sum(axis=0), 1)
    lost = np.flatnonzero(fraction > MANY)
    if not len(lost):
        return []
    return [
        f"from {frequencies[lost[0]]:.0f} Hz on many neighbours are a third of a turn apart: the phase between them is "
        "a guess"
    ]


def _louder_aside(directions: FloatArray, normalised: ComplexArray) -> list[str]:
    """What a wrong frame, a wrong order of angles, or levels in other units look like."""
    levels = 10.0 * np.log10(np.maximum((np.abs(normalised) ** 2).mean(axis=1), 1e-30))
    loudest = int(np.argmax(levels))
    off = float(_off_axis_deg(directions)[loudest])
    reported = (
        f"averaged over frequency it is {levels[loudest]:.0f} dB louder {off:.0f} degrees off the axis than on it"
    )
    if levels[loudest] > FAR_LOUDER_DB:
        raise ValueError(f"{reported}; check where it faced, and the units of levels and phases")
    if levels[loudest] > LOUDER_DB:
        return [f"{reported}: it is taken to have faced as the file says"]
    return []


def _frequencies(frequencies: FloatArray) -> list[str]:
    said = []
    first, last = float(frequencies[0]), float(frequencies[-1])
    ends = [f"below {first:.0f} Hz"] * (first > LOWEST_HZ) + [f"above {last:.0f} Hz"] * (last < HIGHEST_HZ)
    if ends:
        said.append(f"nothing was measured {' and '.join(ends)}: the last values are held")
    step = float(np.diff(np.log2(frequencies)).max(initial=0.0))
    if step > COARSE_OCTAVES:
        said.append(f"its frequencies are up to {step:.1f} octaves apart: straight lines are drawn in between")
    return said


def _reported(directions: FloatArray, row: int) -> str:
    forward, right, up = directions[row].tolist()
    around, above = np.degrees(np.arctan2(right, forward)), np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))
    return f"the direction {around:.0f} degrees to the right and {above:.0f} up"


def _off_axis_deg(directions: FloatArray) -> FloatArray:
    return np.asarray(np.degrees(np.arctan2(np.hypot(directions[:, 1], directions[:, 2]), directions[:, 0])))
