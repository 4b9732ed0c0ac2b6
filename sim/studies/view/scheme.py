"""What stays while things move, told once with a number, and how a frame says only what differs from it.

Names, looks, the room and everything that stands still are most of what pages draw.  They are told as a text whenever
they change; a frame carries the number of the scheme that it was made for, the rows of it that lie elsewhere now, and
the numbers of everything that can be moved.
"""

from __future__ import annotations

import base64
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.blueprint.units import is_imperial
from sim.placement.built_scene import BuiltScene
from sim.studies.view.hanging import stock_words, surfaces_for_panels
from sim.studies.view.snapshot import Snapshot, places_of, scheme_of

STANDS: Final = ("triangles", "lines", "normals")
"""Arrays of which most rows stay: a row for each triangle, line and surface."""
MOVED_M: Final = 1.0e-6
PLACED: Final = ("at", "axis", "low", "high")
"""Points that a thing may have, in this order in a frame; nan for those it has not."""
TOLD: Final = ("value", "follows")
"""What differs of a number of a thing from frame to frame."""


class Scheme:
    """The scheme that pages know.

    Attributes
    ----------
    number
        Counts schemes, 0 before the first.
    message
        The newest as pages are told it.
    """

    def __init__(self, session: str) -> None:
        self.session = session
        self.number = 0
        self.message: dict[str, Any] = {}
        self._key: object = None
        self._stands: dict[str, FloatArray] = {}

    def renew(self, scene: SceneFile, built: BuiltScene, now: Snapshot, things: list[dict[str, Any]]) -> bool:
        """Take what a built scene is made of; True where that is another scheme, which pages have to be told."""
        fixed = [_fixed(one) for one in things]
        key = (_key_of(scene, built), fixed)
        if key == self._key:
            return False
        self._key = key
        self.number += 1
        self._stands = {name: values for name, values in places_of(built).items() if name in STANDS}
        self.message = {
            "kind": "scheme",
            "session": self.session,
            "scheme": self.number,
            **scheme_message(scene, built, now),
            "things": fixed,
            "stands": {name: _as_text(values) for name, values in self._stands.items()},
        }
        return True

    def differing(self, built: BuiltScene, things: list[dict[str, Any]]) -> tuple[dict[str, Any], dict[str, Any]]:
        """Header and arrays of a frame: which rows lie elsewhere and where, and numbers of things."""
        arrays: dict[str, NDArray[Any]] = {}
        moved: dict[str, list[list[int]]] = {}
        for name, values in places_of(built).items():
            if name not in STANDS:
                arrays[name] = values
                continue
            rows = np.flatnonzero((np.abs(values - self._stands[name]) > MOVED_M).reshape(len(values), -1).any(axis=1))
            moved[name] = _runs(rows)
            arrays[name] = values[rows]
        arrays["placed"] = np.array([_placed(one) for one in things]).reshape(len(things), len(PLACED), 3)
        told = [[float(field[key]) for key in TOLD] for one in things for field in one["fields"]]
        arrays["told"] = np.array(told).reshape(len(told), len(TOLD))
        return {"scheme": self.number, "moved": moved}, arrays


def scheme_message(scene: SceneFile, built: BuiltScene, now: Snapshot) -> dict[str, Any]:
    """Names, looks and what can be chosen."""
    blueprint = scene.blueprint
    return scheme_of(blueprint, built) | {
        "stock": stock_words(blueprint),
        "walls": surfaces_for_panels(blueprint, built),
        "title": blueprint.title,
        "file": scene.path.name,
        "unit": blueprint.units,
        "inches": is_imperial(blueprint.units),
        "target": {"level": blueprint.target.level_db, "window": list(blueprint.target.window_ms)},
        "thirdOctaves": now.third_octaves_hz.tolist(),
    }


def _key_of(scene: SceneFile, built: BuiltScene) -> object:
    """What a scheme depends on besides its things: the file, and which surfaces and panels there are."""
    room = built.room
    return (
        scene.digest,
        scene.path,
        scene.blueprint.plays,
        tuple((facet.name, facet.owner, len(facet.border)) for facet in room.facets),
        room.facet_of_triangle.tobytes(),
        tuple((one.name, one.surface, one.movable) for one in built.panels),
        tuple((one.name, one.body, one.corners is None) for one in built.loudspeakers),
    )


def _fixed(thing: dict[str, Any]) -> dict[str, Any]:
    """What stays of a thing that can be moved (see `sim.studies.view.handles`)."""
    fields = [{key: value for key, value in field.items() if key not in TOLD} for field in thing["fields"]]
    return {key: value for key, value in thing.items() if key not in PLACED} | {"fields": fields}


def _placed(thing: dict[str, Any]) -> list[list[float]]:
    return [list(thing.get(key) or [float("nan")] * 3) for key in PLACED]


def joined(fixed: list[dict[str, Any]], placed: NDArray[Any], told: NDArray[Any]) -> list[dict[str, Any]]:
    """Things as the page puts them together again of its scheme and a frame."""
    found, at = [], 0
    for one, points in zip(fixed, placed, strict=True):
        has = {key: point.tolist() for key, point in zip(PLACED, points, strict=True) if np.isfinite(point).all()}
        fields = []
        for field in one["fields"]:
            fields.append({**field, "value": float(told[at, 0]), "follows": bool(told[at, 1])})
            at += 1
        found.append({**one, **has, "fields": fields})
    return found


def _runs(rows: NDArray[Any]) -> list[list[int]]:
    """Row numbers as runs: where each begins and how many there are."""
    if not len(rows):
        return []
    starts = np.flatnonzero(np.diff(rows, prepend=rows[0] - 2) != 1)
    counts = np.diff([*starts, len(rows)])
    return [[int(rows[start]), int(count)] for start, count in zip(starts, counts, strict=True)]


def _as_text(values: FloatArray) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()
