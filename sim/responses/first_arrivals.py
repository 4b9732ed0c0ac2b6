"""First reflections as arrays: what a frame of a moving scene, and each layout among thousands, is judged by.

The same arrivals as `list_arrivals` gives for direct sound and paths of one mirror, without the records around them.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import level_db
from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.finite_facets import is_beside, nearest_on_facet
from sim.responses.arrivals import NOT_LISTED, POINTS_PER_OCTAVE, band_energy, in_target_band
from sim.responses.path_kinds import panels_met


@printable
@dataclass(frozen=True, slots=True)
class FirstArrivals:
    """Direct sound and first reflections, all drivers of a loudspeaker together; ranked by harm for each listener.

    Attributes
    ----------
    loudspeaker, listener
        (a,) numbers; listener 0 is the ear.
    number
        (a,) rank by harm, 1 first; 0 is the direct sound.
    facet
        (a,) facet that reflects, -1 for direct sound.
    surface, panel
        Names of that facet and of the panel that is met there, or empty texts.
    path
        (a,) row in the table of paths of the driver that matters most in the target band.
    point_m
        (a, 3) reflection point of that driver; nan for direct sound.
    delay_ms
        (a,) after the direct sound of that driver.
    margin_m
        (a,) how far that path is from vanishing.
    level_db
        (a, band) energy of all drivers together, re the direct sound.
    worst_db, worst_band_hz
        (a,) highest level among the target's octaves, and that octave.
    in_window
        (a,) whether it falls into the target's time window.
    blocked
        (a,) only for direct sound: something stands in the way of at least one driver.
    """

    loudspeaker: IntArray
    listener: IntArray
    number: IntArray
    facet: IntArray
    surface: tuple[str, ...]
    panel: tuple[str, ...]
    path: IntArray
    point_m: FloatArray
    delay_ms: FloatArray
    margin_m: FloatArray
    level_db: FloatArray
    worst_db: FloatArray
    worst_band_hz: FloatArray
    in_window: BoolArray
    blocked: BoolArray

    def __len__(self) -> int:
        return len(self.number)


def first_arrivals(built: BuiltScene, paths: PathTable, bands: Bands, target: Target) -> FirstArrivals:
    """Group paths of no and of one mirror into arrivals with levels per octave, ranked by harm.

    `paths` holds the direct sound of every driver, against which all is held.
    """
    frequencies, judged = sample_frequencies(bands, POINTS_PER_OCTAVE), in_target_band(bands, target)
    gains = path_gains(built, paths, frequencies.ravel()).reshape(len(paths), *frequencies.shape)
    pair = paths.loudspeaker * len(built.ears) + paths.listener
    key, first, group = np.unique(
        pair * (len(built.room.facets) + 1) + paths.facets[:, 0] + 1, return_index=True, return_inverse=True
    )
    by_group = np.argsort(group, kind="stable")
    start = np.concatenate([[0], np.cumsum(np.bincount(group, minlength=len(key)))])
    energy = band_energy(np.add.reduceat(gains[by_group], start[:-1], axis=0))
    pairs, facet = pair[first], paths.facets[first, 0]
    direct_of = np.full(len(built.loudspeakers) * len(built.ears), -1)
    direct_of[pairs[facet < 0]] = np.flatnonzero(facet < 0)
    reference = energy[direct_of]
    energy = energy / reference[pairs]
    harm = (band_energy(gains) / reference[pair])[:, judged].sum(axis=1)
    main = np.array(
        [rows[np.argmax(harm[rows])] for rows in (by_group[a:b] for a, b in itertools.pairwise(start))], dtype=np.int64
    )
    direct_m = np.full((len(direct_of), 1 + int(paths.driver.max())), np.nan)
    straight = np.flatnonzero(paths.order == 0)
    direct_m[pair[straight], paths.driver[straight]] = paths.length_m[straight]
    extra_m = paths.length_m[main] - direct_m[pairs, paths.driver[main]]
    delay = 1000.0 * extra_m / built.air.speed_of_sound_m_s
    level = level_db(energy)
    octaves = np.flatnonzero(judged)
    worst = octaves[np.argmax(level[:, judged], axis=1)]
    worst_db = level[np.arange(len(key)), worst]
    low, high = target.window_ms
    inside = (delay >= low) & (delay <= high)
    heard = (energy.max(axis=1) >= NOT_LISTED) | ~np.logical_and.reduceat(is_beside(paths)[by_group], start[:-1])
    order = np.lexsort((first, -worst_db, ~inside, facet >= 0, pairs))
    order = order[heard[order]]
    pairs, facet, main, worst = pairs[order], facet[order], main[order], worst[order]
    _, begin, count = np.unique(pairs, return_index=True, return_counts=True)
    some = paths.chosen(main)
    names = [built.room.facets[f].name if f >= 0 else "" for f in facet.tolist()]
    met = panels_met(built, some, worst, bands.exact_hz) if built.panels else []
    return FirstArrivals(
        loudspeaker=frozen(some.loudspeaker),
        listener=frozen(some.listener),
        number=frozen(np.arange(len(main)) - np.repeat(begin, count)),
        facet=frozen(facet),
        surface=tuple(names),
        panel=tuple(one[0] if one else "" for one in met) if built.panels else ("",) * len(main),
        path=frozen(main),
        point_m=frozen(_points(built, some)),
        delay_ms=frozen(delay[order]),
        margin_m=frozen(some.margin_m),
        level_db=frozen(level[order]),
        worst_db=frozen(worst_db[order]),
        worst_band_hz=frozen(bands.nominal_hz[worst]),
        in_window=frozen(inside[order]),
        blocked=frozen(np.logical_or.reduceat(paths.blocked[by_group], start[:-1])[order]),
    )


def _points(built: BuiltScene, paths: PathTable) -> FloatArray:
    """Reflection points (p, 3); of a path beside its facet the nearest of the rim."""
    points: FloatArray = paths.points[:, 0].copy()
    for row in np.flatnonzero((paths.margin_m < 0.0) & (paths.facets[:, 0] >= 0)):
        points[row] = nearest_on_facet(built, int(paths.facets[row, 0]), points[row])
    return points
