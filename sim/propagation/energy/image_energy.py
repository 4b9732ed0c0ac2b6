"""Direct sound and mirrored paths as energies over time, from what a whole loudspeaker radiates."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.acoustics.diffuse_field import air_energy_loss_per_m
from sim.arrays import FloatArray, frozen
from sim.errors import BounceplanError
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.placement.built_scene import BuiltScene
from sim.propagation.energy.boundaries import boundaries_of, boundary_of_points
from sim.propagation.mirrors.image_sources import trace_paths

POINTS_IN_AN_OCTAVE = 12
STEP_DEG = 5
ROWS_AT_ONCE = 512


def octave_energy(model: Loudspeaker, directions: FloatArray, speed_m_s: float) -> FloatArray:
    """Energy (m, 8) toward directions (m, 3) of the box's frame, octaves 63 Hz to 8 kHz; 1 on the axis.

    The drivers are added as pressures, each with the phase of its place, as they add far away; then the energy is
    averaged over twelve frequencies of the octave and divided by that on the axis.  Neglected: that near by, the
    drivers are not in one place; direct sound and first reflections have that in `path_gains`.
    """
    frequencies = sample_frequencies(octave_bands(63, 8000), POINTS_IN_AN_OCTAVE)
    on_axis = _octaves(model, np.array([[1.0, 0.0, 0.0]]), frequencies, speed_m_s)
    rows = [
        _octaves(model, directions[start : start + ROWS_AT_ONCE], frequencies, speed_m_s)
        for start in range(0, len(directions), ROWS_AT_ONCE)
    ]
    energy: FloatArray = np.concatenate(rows) / on_axis
    return energy


def _octaves(model: Loudspeaker, directions: FloatArray, frequencies: FloatArray, speed_m_s: float) -> FloatArray:
    pressure = model.far_pressure(directions, frequencies.ravel(), speed_m_s)
    return np.asarray((np.abs(pressure) ** 2).reshape(len(directions), *frequencies.shape).mean(axis=-1))


@lru_cache(maxsize=16)
def energy_table(model: Loudspeaker, speed_m_s: float) -> FloatArray:
    """`octave_energy` every five degrees: (angle from the axis, turn about it from right over up, 8).

    The angle runs from 0 to 180 degrees, both included, the turn from 0 to 355.  Kept, since batches of rays ask again.
    """
    angle = np.radians(np.arange(0, 181, STEP_DEG))[:, None]
    turn = np.radians(np.arange(0, 360, STEP_DEG))[None, :]
    ways = np.stack(np.broadcast_arrays(np.cos(angle), np.sin(angle) * np.cos(turn), np.sin(angle) * np.sin(turn)), -1)
    return frozen(octave_energy(model, ways.reshape(-1, 3), speed_m_s).reshape(*ways.shape[:2], -1))


# Direct sound and mirrored paths as energies over time: what the rays of `late_rays` leave out.
#
# Both count the same sound, sent from the acoustic axis point of each loudspeaker, so that any order of images with the
# rays that go with it has one sum.  What interferes is in `path_gains`; energies add.

MOST_BINS = 1_000_000


def image_energy(built: BuiltScene, *, order: int = 2, bin_s: float = 1e-3, length_s: float = 1.0) -> FloatArray:
    """Energy (source, listener, octave, bin) of direct sound and of paths of up to `order` mirrors.

    Octaves 63 Hz to 8 kHz.  Bin i holds what arrives from i to i + 1 times `bin_s` after it left the acoustic axis
    point.  1 is the energy of direct sound on the axis at 1 m in the same octave.  A path has D/L^2 e^{-mL} and
    (1 - alpha)(1 - s) for each mirror, alpha at random incidence, s the scattering coefficient (ISO 17497-1:2004): the
    scattered share arrives later, by rays.  Direct sound that something hides has none; what bends round it is
    neglected.

    Raises
    ------
    BounceplanError
        If the order is below 0, or the bin or the length is not above 0.
    """
    bins = bins_of(order, bin_s, length_s)
    speed = built.air.speed_of_sound_m_s
    paths = trace_paths(from_axis_points(built), max(order, 1))
    paths = paths.chosen(np.flatnonzero((paths.order <= order) & ~paths.blocked))
    boundaries = boundaries_of(built)
    mirror = boundaries.kept * (1.0 - boundaries.scattering)
    found = np.ones((len(paths), 8))
    for step in range(paths.facets.shape[1]):
        rows = np.flatnonzero(paths.facets[:, step] >= 0)
        found[rows] *= mirror[boundary_of_points(built, boundaries, paths.facets[rows, step], paths.points[rows, step])]
    found *= np.exp(-air_per_m(built) * paths.length_m[:, None]) / paths.length_m[:, None] ** 2
    for s, loudspeaker in enumerate(built.loudspeakers):
        mine = np.flatnonzero(paths.loudspeaker == s)
        if mine.size:
            found[mine] *= octave_energy(loudspeaker.model, loudspeaker.to_box(paths.departure[mine]), speed)
    energy = np.zeros((len(built.loudspeakers), len(built.ears), 8, bins))
    place = (paths.length_m / speed / bin_s).astype(np.int64)
    within = place < bins
    np.add.at(
        energy.transpose(0, 1, 3, 2),
        (paths.loudspeaker[within], paths.listener[within], place[within]),
        found[within],
    )
    return energy


def direct_arrival_s(built: BuiltScene) -> FloatArray:
    """When direct sound arrives (source, listener), in seconds after it left the acoustic axis point."""
    points = np.array([each.axis_point for each in built.loudspeakers])
    away = np.linalg.norm(points[:, None] - built.ears[None], axis=2)
    return np.asarray(away / built.air.speed_of_sound_m_s)


def from_axis_points(built: BuiltScene) -> BuiltScene:
    """The same built scene with every loudspeaker's drivers in one place, its acoustic axis point."""
    return replace(
        built, loudspeakers=tuple(replace(one, driver_points=one.axis_point[None]) for one in built.loudspeakers)
    )


def air_per_m(built: BuiltScene) -> FloatArray:
    """What air takes from energy on each metre (8,), as m in e^{-mL}, at the middles of the octaves."""
    return air_energy_loss_per_m(octave_bands(63, 8000).exact_hz, built.air)


def bins_of(order: int, bin_s: float, length_s: float) -> int:
    """Number of bins; raises BounceplanError for what cannot be."""
    if order < 0:
        raise BounceplanError(f"images of up to {order} mirrors; give 0 (direct sound only) or more.")
    if not (0.0 < bin_s < np.inf and 0.0 < length_s < np.inf):
        raise BounceplanError(f"bins of {bin_s:g} s over {length_s:g} s; both must be above zero.")
    bins = int(np.ceil(length_s / bin_s - 1e-9))
    if bins > MOST_BINS:
        raise BounceplanError(f"{bins} bins of time; give longer bins or a shorter length, {MOST_BINS} at most.")
    return bins
