"""The window of the response at the ear: every path inside it whatever its order, and what comes after it.

A curve of early sound says how early: it holds every path that is up to so many milliseconds longer than the direct
sound, and fades out over a tenth of the window after it, so that nothing jumps as a path gets a millimetre longer.
Mirrored paths of any order are searched for (`trace_within`); in the box of a room these are the images of the lattice
(Allen and Berkley, J. Acoust. Soc. Am. 65 (1979) 943-950).  Edge diffraction is there as far as it is traced.

What arrives after the window is reverberation, of which only the energy is known: by rays (`late_rays`), added as
energy (Kuttruff, Room Acoustics).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.acoustics.bands import octave_bands
from sim.acoustics.levels import SILENCE_DB, level_db
from sim.arrays import FloatArray, frozen
from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.image_energy import air_per_m, direct_arrival_s, octave_energy
from sim.propagation.energy.late_rays import trace_late
from sim.propagation.mirrors.image_sources import PathsWithin, joined, trace_within
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.ear_records import EarLevels, EarWindow

LONGEST_MS = 60.0
"""Longer windows are cut to this: the transform is 85 ms long."""
FADE = 0.1
"""The curve fades out over this part of the window after its end."""
MOST_RATIO = 0.9
"""Of the energies of two orders in turn, when what the search did not reach is estimated as a geometric series."""
RAYS, LATE_S, BIN_S = 16_384, 1.0, 1e-3
"""Rays of each loudspeaker for the late energy (0.3 dB), how long they are followed, and the step in time."""


def window_of(target_end_ms: float, asked_ms: float | None = None) -> float:
    """Length of the window in ms: the one that is asked for, else to the end of the target's, 60 ms at most."""
    return float(min(target_end_ms if asked_ms is None else asked_ms, LONGEST_MS))


def window_weight(late_ms: FloatArray, window_ms: float) -> FloatArray:
    """Weight of what arrives so late after the direct sound: 1 inside the window, falling to 0 over a tenth of it."""
    past = np.clip((late_ms - window_ms) / (FADE * window_ms), 0.0, 1.0)
    return np.asarray(np.cos(0.5 * np.pi * past) ** 2)


def fill_window(built: BuiltScene, paths: PathTable, window_ms: float) -> tuple[PathTable, EarWindow]:
    """Add every path of the window that `paths` does not hold: those of higher orders.

    Also say what the search reached; the curve with the room is left for `with_room`.
    """
    speed, listed = built.air.speed_of_sound_m_s, paths.facets.shape[1]
    found = trace_within(built, (1.0 + FADE) * window_ms / 1000.0 * speed)
    further = found.paths.chosen(np.flatnonzero(found.paths.order > listed))
    whole = joined([paths, further])
    inside = (whole.order > 0) & (whole.length_m <= _direct_m(built, whole) + window_ms / 1000.0 * speed)
    window = EarWindow(
        window_ms=window_ms,
        paths=int(inside.sum()),
        most_mirrors=int(whole.order[inside].max(initial=0)),
        searched_mirrors=found.deepest,
        complete=found.complete,
        left_out_db=_left_out_db(built, found),
        octave_hz=frozen(np.zeros(0)),
        late_db=frozen(np.zeros((0, 0, 0))),
        with_room_db=frozen(np.zeros((0, 0, 0))),
    )
    return whole, window


def _direct_m(built: BuiltScene, paths: PathTable) -> FloatArray:
    """Length of the direct way (p,) between the ends of each path."""
    drivers = np.array(
        [built.loudspeakers[s].driver_points[d] for s, d in zip(paths.loudspeaker, paths.driver, strict=True)]
    ).reshape(-1, 3)
    return np.asarray(np.linalg.norm(built.ears[paths.listener] - drivers, axis=1))


def _left_out_db(built: BuiltScene, found: PathsWithin) -> float:
    """Estimate of the energy inside the window that the search did not reach, in dB re direct at 1 kHz.

    Energies of the orders fall about as a geometric series; what is past the last order is the rest of that series, its
    ratio taken from the last two orders and never above 0.9.
    """
    if found.complete:
        return SILENCE_DB
    energy = np.abs(path_gains(built, found.paths, np.array([1000.0]), delayed=False)[:, 0]) ** 2
    orders = np.bincount(found.paths.order, energy, minlength=found.deepest + 1)
    direct = max(float(orders[0]), 1e-30)
    last, before = float(orders[found.deepest]), float(orders[found.deepest - 1])
    if last <= 0.0:
        return SILENCE_DB
    ratio = min(last / before, MOST_RATIO) if before > 0.0 else MOST_RATIO
    return float(level_db(np.array(last * ratio / (1.0 - ratio) / direct)))


def late_energy_db(built: BuiltScene, window_ms: float, seed: int) -> tuple[FloatArray, FloatArray]:
    """Middles of the octaves 63 Hz to 8 kHz, and the energy (loudspeaker, listener, octave) after the window, by rays.

    In dB re the direct sound of the whole loudspeaker in the same octave, as if nothing hid it.
    """
    rays = trace_late(built, seed=seed, rays=RAYS, order=0, bin_s=BIN_S, length_s=LATE_S)
    arrival, speed = direct_arrival_s(built), built.air.speed_of_sound_m_s
    middles = (np.arange(rays.energy.shape[-1]) + 0.5) * BIN_S
    late_ms = 1000.0 * (middles - arrival[..., None])
    late = (rays.energy * (1.0 - window_weight(late_ms, window_ms))[:, :, None]).sum(axis=-1)
    direct = np.empty_like(late)
    for s, one in enumerate(built.loudspeakers):
        ways = built.ears - one.axis_point
        length = np.linalg.norm(ways, axis=1)[:, None]
        spread = np.exp(-air_per_m(built) * length) / length**2
        direct[s] = octave_energy(one.model, one.to_box(ways / length), speed) * spread
    return octave_bands(63, 8000).exact_hz, np.asarray(level_db(late / np.maximum(direct, 1e-30)))


def with_room(built: BuiltScene, window: EarWindow, levels: EarLevels, seed: int) -> EarWindow:
    """The window with what comes after it: third-octaves of the windowed curve with the late energy added as energy."""
    octaves, late = late_energy_db(built, window.window_ms, seed)
    bands = np.log(levels.bands.exact_hz)
    spread = np.array([[np.interp(bands, np.log(octaves), place) for place in one] for one in late])
    whole = level_db(10.0 ** (levels.whole_db[:, :, 0] / 10.0) + 10.0 ** (spread / 10.0))
    return replace(window, octave_hz=frozen(octaves), late_db=frozen(late), with_room_db=frozen(np.asarray(whole)))
