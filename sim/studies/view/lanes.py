"""What follows a hand: first reflections, the map of the desk and the curve at the ear, within one frame.

The curve is that of direct sound and first reflections worked out afresh, with all that the whole response held beyond
them when things last stood still (edge diffraction, further mirrors, waves): `beyond`.  At that setting the sum is the
whole response again; anywhere else what is beyond is old, and the page shows so.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from sim.acoustics.bands import third_octave_bands
from sim.arrays import ComplexArray, FloatArray
from sim.layouts.frames import Frame
from sim.placement.built_scene import BuiltScene
from sim.propagation.paths import PathTable
from sim.responses.first_arrivals import FirstArrivals
from sim.responses.frequency import HIGHEST_HZ, LOWEST_HZ
from sim.responses.quick_curve import ear_curve, third_octave_db
from sim.responses.transition import judged_from_hz
from sim.studies.view.snapshot import NONE, NOW, OLD, Listed, Snapshot, octaves, shown_maps


def moving(frame: Frame, number: int, beyond: ComplexArray | None, here: bool) -> Snapshot:
    """What a page shows of a frame; `here` says that `beyond` is of this very setting."""
    built, paths, arrivals = frame.built, frame.paths, frame.arrivals
    assert built is not None and paths is not None and arrivals is not None
    direct, total = first_response(built, paths)
    known = False
    if beyond is not None and beyond.shape == total.shape:
        known, total = True, total + beyond
    return Snapshot(
        number=number,
        reflections=_listed(built, paths, arrivals),
        hidden=tuple(
            dict.fromkeys(
                int(arrivals.loudspeaker[a]) for a in np.flatnonzero(arrivals.blocked & (arrivals.listener == 0))
            )
        ),
        curve_db=third_octave_db(direct, total),
        third_octaves_hz=third_octaves(),
        maps=shown_maps(frame.maps, octaves()),
        fresh={"reflections": NOW, "curve": (NOW if here else OLD) if known else NONE, "maps": NOW},
        warnings=built.warnings,
        judged_from_hz=judged_from_hz(frame.blueprint, built),
    )


def _listed(built: BuiltScene, paths: PathTable, arrivals: FirstArrivals) -> tuple[Listed, ...]:
    found = []
    for a in np.flatnonzero((arrivals.listener == 0) & (arrivals.number > 0) & np.isfinite(arrivals.worst_db)):
        s, row = int(arrivals.loudspeaker[a]), int(arrivals.path[a])
        surface, panel = arrivals.surface[a], arrivals.panel[a]
        driver = built.loudspeakers[s].driver_points[int(paths.driver[row])]
        found.append(
            Listed(
                loudspeaker=s,
                key=f"{built.loudspeakers[s].name}|mirrored|{surface}",
                via=f"{surface} ({panel})" if panel else surface,
                delay_ms=float(arrivals.delay_ms[a]),
                worst_db=float(arrivals.worst_db[a]),
                worst_band_hz=float(arrivals.worst_band_hz[a]),
                margin_m=float(arrivals.margin_m[a]),
                level_db=np.asarray(arrivals.level_db[a]),
                in_window=bool(arrivals.in_window[a]),
                order=1,
                diffracted=False,
                points=np.stack([driver, arrivals.point_m[a], built.ears[0]]),
                surfaces=(surface,),
            )
        )
    return tuple(sorted(found, key=lambda one: (one.loudspeaker, not one.in_window, -one.worst_db)))


def first_response(built: BuiltScene, paths: PathTable) -> tuple[ComplexArray, ComplexArray]:
    """Direct sound and the sum of direct sound and first reflections at the ear, (loudspeaker, f) each."""
    curve = ear_curve(built, paths.chosen(np.flatnonzero((paths.listener == 0) & (paths.order <= 1))))
    return curve.direct[:, 0], curve.total[:, 0]


@cache
def third_octaves() -> FloatArray:
    """Nominal middles of the third-octaves of the curve in Hz."""
    return np.asarray(third_octave_bands(LOWEST_HZ, HIGHEST_HZ).nominal_hz)
