"""Direct sound and mirrored paths as energies over time: what the rays of `late_rays` leave out.

Both count the same sound, sent from the acoustic axis point of each loudspeaker, so that any order of images with the
rays that go with it has one sum.  What interferes is in `path_gains`; energies add.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..acoustics.bands import octave_bands
from ..acoustics.diffuse_field import air_energy_loss_per_m
from ..arrays import FloatArray
from ..errors import BounceplanError
from ..placement.stage import Stage
from .image_sources import trace_paths
from .skins import skin_of_points, skins_of
from .source_energy import octave_energy

MOST_BINS = 1_000_000


def image_energy(stage: Stage, *, order: int = 2, bin_s: float = 1e-3, length_s: float = 1.0) -> FloatArray:
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
    speed = stage.air.speed_of_sound_m_s
    paths = trace_paths(from_axis_points(stage), max(order, 1))
    paths = paths.chosen(np.flatnonzero((paths.order <= order) & ~paths.blocked))
    skins = skins_of(stage)
    mirror = skins.kept * (1.0 - skins.scattering)
    found = np.ones((len(paths), 8))
    for step in range(paths.facets.shape[1]):
        rows = np.flatnonzero(paths.facets[:, step] >= 0)
        found[rows] *= mirror[skin_of_points(stage, skins, paths.facets[rows, step], paths.points[rows, step])]
    found *= np.exp(-air_per_m(stage) * paths.length_m[:, None]) / paths.length_m[:, None] ** 2
    for s, loudspeaker in enumerate(stage.loudspeakers):
        mine = np.flatnonzero(paths.loudspeaker == s)
        if mine.size:
            found[mine] *= octave_energy(loudspeaker.model, loudspeaker.to_box(paths.departure[mine]), speed)
    energy = np.zeros((len(stage.loudspeakers), len(stage.ears), 8, bins))
    place = (paths.length_m / speed / bin_s).astype(np.int64)
    within = place < bins
    np.add.at(
        energy.transpose(0, 1, 3, 2),
        (paths.loudspeaker[within], paths.listener[within], place[within]),
        found[within],
    )
    return energy


def direct_arrival_s(stage: Stage) -> FloatArray:
    """When direct sound arrives (source, listener), in seconds after it left the acoustic axis point."""
    points = np.array([each.axis_point for each in stage.loudspeakers])
    away = np.linalg.norm(points[:, None] - stage.ears[None], axis=2)
    return np.asarray(away / stage.air.speed_of_sound_m_s)


def from_axis_points(stage: Stage) -> Stage:
    """The same stage with every loudspeaker's drivers in one place, its acoustic axis point."""
    return replace(
        stage, loudspeakers=tuple(replace(one, driver_points=one.axis_point[None]) for one in stage.loudspeakers)
    )


def air_per_m(stage: Stage) -> FloatArray:
    """What air takes from energy on each metre (8,), as m in e^{-mL}, at the middles of the octaves."""
    return air_energy_loss_per_m(octave_bands(63, 8000).exact_hz, stage.air)


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
