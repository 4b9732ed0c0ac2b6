"""A snapshot as one message to the pages: texts, and the numbers that pictures are drawn of."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import FloatArray
from sim.showing.scene_data import FIRST_SHOWN_HZ
from sim.studies.view.frames import encoded
from sim.studies.view.sentences import change_db
from sim.studies.view.snapshot import NOW, OLD, Listed, ShownMap, Snapshot, octaves

LOWEST_SHOWN_DB: Final = -120.0
ROWS_EACH: Final = 4
"""Reflections of each loudspeaker that the page lists."""


def frame_message(
    header: Mapping[str, Any],
    now: Snapshot,
    before: Snapshot | None,
    places: Mapping[str, NDArray[Any]],
    band: int,
    old: Sequence[Listed] = (),
) -> bytes:
    """Return the message; `band` is the octave of the maps, -1 the usual one; `old` is what an earlier rest knew."""
    shown = band if band >= 0 else _usual_band()
    listed = [*now.reflections, *old]
    arrays: dict[str, NDArray[Any]] = dict(places)
    arrays["curve"] = now.curve_db
    if before is not None:
        arrays["curveBefore"] = before.curve_db
    if now.over_time.size:
        arrays["overTime"] = now.over_time
    arrays["paths"] = np.concatenate([one.points for one in listed]) if listed else np.zeros((0, 3))
    maps: list[dict[str, Any]] = []
    for one in now.maps:
        name = f"map{len(maps)}"
        arrays[name] = _levels(one, shown)
        arrays[f"{name}known"] = np.packbits(one.known)
        maps.append(
            {
                "facet": one.facet,
                "surface": one.surface,
                "shape": list(one.shape),
                "cell": _nested(one.cell),
                "start": _nested(one.start_m),
                "row": _nested(one.row_m),
                "column": _nested(one.column_m),
            }
        )
    text = {
        **header,
        "fresh": dict(now.fresh),
        "band": shown,
        "judgedFrom": round(now.judged_from_hz, 1),
        "reflections": [_reflection(one, before, NOW) for one in now.reflections]
        + [_reflection(one, before, OLD) for one in old],
        "maps": maps,
    }
    return encoded(text, arrays)


def _levels(one: ShownMap, band: int) -> NDArray[np.uint8]:
    """Levels (loudspeaker + 1, rows, cells) of one octave; cells off the surface hold those of the nearest on it."""
    levels = one.levels[band]
    if one.known.all():
        return np.ascontiguousarray(levels)
    from scipy.ndimage import distance_transform_edt

    nearest = tuple(distance_transform_edt(one.known == 0, return_distances=False, return_indices=True))
    return np.ascontiguousarray(levels[(..., *nearest)])


def _usual_band() -> int:
    from sim.acoustics.bands import octave_bands

    nominal = octave_bands().nominal_hz
    shown = octaves()
    return min(range(len(shown)), key=lambda place: abs(math.log(nominal[shown[place]] / FIRST_SHOWN_HZ)))


def _reflection(one: Listed, before: Snapshot | None, fresh: str) -> dict[str, Any]:
    change = change_db(one, before)
    return {
        "speaker": one.loudspeaker,
        "key": one.key,
        "via": one.via,
        "delay": round(one.delay_ms, 2),
        "worst": round(max(one.worst_db, LOWEST_SHOWN_DB), 1),
        "band": one.worst_band_hz,
        "margin": round(one.margin_m, 4) if math.isfinite(one.margin_m) else None,
        "change": None if change is None else round(change, 1),
        "inWindow": one.in_window,
        "order": one.order,
        "diffracted": one.diffracted,
        "corners": len(one.points),
        "cure": one.cure,
        "fresh": fresh,
    }


def _nested(values: FloatArray) -> list[Any]:
    return list(np.round(np.asarray(values, dtype=np.float64), 5).tolist())


def old_of(rested: Snapshot | None, now: Snapshot) -> tuple[Listed, ...]:
    """What only the last rest knew and the page would list: reflections of more surfaces and round edges, as old."""
    if rested is None or rested is now or any(one.order > 1 or one.diffracted for one in now.reflections):
        return ()
    known = {one.key for one in now.reflections}
    found = [
        one
        for one in rested.reflections
        if one.in_window and one.key not in known and (one.order > 1 or one.diffracted)
    ]
    rows: list[Listed] = []
    for s in dict.fromkeys(one.loudspeaker for one in found):
        mine = [one for one in found if one.loudspeaker == s]
        new = [one for one in now.reflections if one.loudspeaker == s and one.in_window]
        rows += [
            one for one in sorted([*mine, *new], key=lambda one: -one.worst_db)[:ROWS_EACH] if one.key not in known
        ]
    return tuple(rows)
