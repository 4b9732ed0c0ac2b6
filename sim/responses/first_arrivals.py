"""First reflections as arrays: what a frame of a moving scene, and each layout among thousands, is judged by.

The same arrivals as `list_arrivals` gives for direct sound and paths of one mirror, without the records around them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.acoustics.bands import Bands
from sim.answers import printable
from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.responses.arrivals import in_window, list_arrivals


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
    arrivals = list_arrivals(built, paths, bands, target, notches=False)
    names = [one.name for one in built.loudspeakers]
    rows = np.array([one.main.path for one in arrivals], dtype=np.int64)
    nothing = np.full(3, np.nan)
    return FirstArrivals(
        loudspeaker=frozen(np.array([names.index(one.loudspeaker) for one in arrivals])),
        listener=frozen(np.array([built.listener_names.index(one.listener) for one in arrivals])),
        number=frozen(np.array([one.number for one in arrivals])),
        facet=frozen(paths.facets[rows, 0]),
        surface=tuple(one.surfaces[0] if one.order else "" for one in arrivals),
        panel=tuple(one.panels[0] if one.panels else "" for one in arrivals),
        path=frozen(rows),
        point_m=frozen(np.array([one.main.points[0] if one.order else nothing for one in arrivals])),
        delay_ms=frozen(np.array([one.main.delay_ms for one in arrivals])),
        margin_m=frozen(np.array([one.main.margin_m for one in arrivals])),
        level_db=frozen(np.array([one.level_db for one in arrivals])),
        worst_db=frozen(np.array([one.worst_db for one in arrivals])),
        worst_band_hz=frozen(np.array([one.worst_band_hz for one in arrivals])),
        in_window=frozen(np.array([in_window(one, target) for one in arrivals])),
        blocked=frozen(np.array([one.blocked for one in arrivals])),
    )
