"""Edge diffraction kept from one setting of a scene to the next: what only a panel, or another body, moved for.

Two pieces are kept, each under a digest of every number that it is worked out from, so that what is read back is what
would be worked out again, to the last bit:

- single edges with their mirrors, of one driver at one ear: as long as the room with everything in it is the same
  (panels may move: what faces beside an edge reflect is weighted afterwards);
- the sum of the chains of one body: as long as this body, the driver, the ear, and what they see of its edges, are.

Nothing is kept unless `keep_pieces` asks for it, as the live page's process at rest does: many layouts in a row, as in
a sweep, never come back to one another.
"""

from __future__ import annotations

import hashlib
import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from dataclasses import fields
from typing import Any, Final, TypeVar

import numpy as np

from sim.arrays import KeptFor
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene

MOST_BYTES: Final = 400_000_000
DIGEST_BYTES: Final = 20
_Result = TypeVar("_Result")


class KeptPieces:
    """Results under digests, those asked for last, so many bytes of them; safe to use from several threads."""

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self._most, self._bytes = most_bytes, 0
        self._kept: OrderedDict[Hashable, tuple[Any, Any, int]] = OrderedDict()
        self._lock = threading.Lock()
        self.found = self.made = 0

    def again(self, key: Hashable, make: Callable[[], _Result], held: object = None) -> _Result:
        """What is kept under a key, or what `make` gives, kept; `held` is held with it (objects named in the key)."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                self.found += 1
                result: _Result = self._kept[key][0]
                return result
        result = make()
        size = sum(array.nbytes for array in _arrays(result))
        with self._lock:
            self.made += 1
            if key not in self._kept:
                self._kept[key] = (result, held, size)
                self._bytes += size
            while self._bytes > self._most and len(self._kept) > 1:
                self._bytes -= self._kept.popitem(last=False)[1][2]
        return result


_pieces: KeptPieces | None = None
_digests: KeptFor[bytes] = KeptFor(4)


def keep_pieces(most_bytes: int = MOST_BYTES) -> KeptPieces:
    """Keep pieces from now on, in this process."""
    global _pieces
    _pieces = KeptPieces(most_bytes)
    return _pieces


def keep_nothing() -> None:
    """Keep no pieces any more."""
    global _pieces
    _pieces = None


def chains_again(arguments: tuple[Any, ...], make: Callable[[], _Result]) -> _Result:
    """The sum of chains that a kernel gives for its arguments."""
    return make() if _pieces is None else _pieces.again(("chains", digest_of(arguments)), make)


def edges_again(
    built: BuiltScene, job: tuple[int, int, int], numbers: tuple[Any, ...], make: Callable[[], _Result]
) -> _Result:
    """Single edges from a driver to a listener (loudspeaker, driver, listener), found with these numbers besides."""
    if _pieces is None:
        return make()
    s, d, place = job
    loudspeaker, model = built.loudspeakers[s], built.loudspeakers[s].model
    driver = pickle.dumps([getattr(model, one.name) for one in fields(model) if one.name != "data"])
    ends = (loudspeaker.rotation, loudspeaker.driver_points[d], built.ears[place], built.air.speed_of_sound_m_s)
    rest = (loudspeaker.body, d, *ends, *numbers)
    key = ("edges", _digest_of_room(built.room), driver, tuple(map(id, model.data)), digest_of(rest))
    return _pieces.again(key, make, model.data)


def _digest_of_room(room: Room) -> bytes:
    """Digest of everything solid: the facets with their bodies and the edges between them."""
    known = _digests.find(room)
    if known is not None:
        return known
    solid = (room.triangles, room.facet_of_triangle, room.plane_of_triangle, room.owner_of_triangle)
    flat = (room.arrays.normal, room.arrays.offset, room.arrays.owner, room.arrays.plane)
    edges = (room.edges.ends, room.edges.facets, room.edges.air_angle_rad, room.owners)
    return _digests.keep(digest_of((*solid, *flat, *edges)), room)


def digest_of(values: object) -> bytes:
    """Digest of numbers, texts and arrays of them, nested as they are."""
    digest = hashlib.blake2b(digest_size=DIGEST_BYTES)
    _take(digest.update, values)
    return digest.digest()


def _take(update: Callable[[bytes], None], value: object) -> None:
    if isinstance(value, np.ndarray):
        update(f"{value.dtype.str}{value.shape}".encode())
        update(np.ascontiguousarray(value).tobytes())
    elif isinstance(value, tuple | list):
        update(f"{len(value)}(".encode())
        for one in value:
            _take(update, one)
    else:
        update(f"{type(value).__name__} {value!r};".encode())


def _arrays(result: object) -> Iterator[np.ndarray]:
    """Arrays in a result: of a record, in tuples and tables too."""
    if isinstance(result, np.ndarray):
        yield result
    elif isinstance(result, dict):
        for one in result.values():
            yield from _arrays(one)
    elif isinstance(result, tuple | list):
        for one in result:
            yield from _arrays(one)
    elif hasattr(result, "__dataclass_fields__"):
        for name in result.__dataclass_fields__:
            yield from _arrays(getattr(result, name))
