"""What a search for mirrored paths needs of a room, and the beams of a point in it.

The idea, why nothing is lost and what it costs stand in docs/explanation/images.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.geometry.bare_sides import bare_sides
from sim.geometry.room import Room

Beams: TypeAlias = tuple[FloatArray, IntArray, IntArray, IntArray, FloatArray, IntArray]
"""As `beam_kernels.grow_beams` gives them."""


@dataclass(frozen=True, slots=True)
class Mirrors:
    """The facets of a room as windows.

    Attributes
    ----------
    number
        (f,) facet of each sheet.  Sheets that look one way stand together, those further along it later, so that
        of eight neighbours mostly all or none are faced.
    facing
        (f, b) bits, eight sheets a byte: which may follow a sheet.
    sheets, blocks
        Rectangles (f, 13) about the facets, as `aperture_kernels.lay_sheets` gives them, and the same (b, 13, 8) in
        blocks of eight.
    """

    number: IntArray
    facing: NDArray[np.uint8]
    sheets: FloatArray
    blocks: FloatArray


def mirror_limits(room: Room) -> BoolArray:
    """Return (f, f): whether two facets have any part in front of each other, so that sound can go between them."""
    from sim.propagation.mirrors.path_kernels import some_in_front

    a = room.arrays
    in_front = some_in_front(a.normal, a.offset, a.frame, a.border, a.border_start)
    return np.asarray(in_front & in_front.T, dtype=bool)


def facet_tuple(room: Room) -> tuple[FloatArray | IntArray, ...]:
    """The facet arrays in the order the kernels take them."""
    a = room.arrays
    return (a.normal, a.offset, a.frame, a.plane, a.border, a.border_start, a.rim, a.rim_start, a.owner)


def slack_beside(room: Room, beside_m: float = 0.0) -> tuple[FloatArray, BoolArray]:
    """How far points may lie beside each facet (f,), 0 without bare sides; which sides (r,) of rims are bare."""
    arrays = room.arrays
    bare = np.array(bare_sides(room)) if beside_m > 0.0 else np.zeros(len(arrays.rim), dtype=np.bool_)
    before = np.concatenate([[0], np.cumsum(bare)])
    some = before[arrays.rim_start[1:]] > before[arrays.rim_start[:-1]]
    return np.where(some, beside_m, 0.0), bare


def lay_mirrors(room: Room, wider_m: FloatArray | None = None) -> Mirrors:
    """Lay out the facets of a room: which may follow which, and their rectangles, each let out by wider_m (f,)."""
    from sim.propagation.mirrors.path_kernels import lay_sheets

    a = room.arrays
    axis = np.abs(a.normal).argmax(axis=1)
    ahead = np.take_along_axis(a.normal, axis[:, None], axis=1)[:, 0] > 0.0
    number = np.lexsort((a.offset, ahead, axis))
    follows = mirror_limits(room) & (a.plane[:, None] != a.plane[None, :])
    more = np.zeros(len(number)) if wider_m is None else np.array(wider_m)
    sheets = lay_sheets(number, a.normal, a.offset, a.frame, a.border, a.border_start, more)
    full = np.concatenate([sheets, np.zeros((-len(sheets) % 8, sheets.shape[1]))])
    blocks = np.ascontiguousarray(full.reshape(-1, 8, sheets.shape[1]).swapaxes(1, 2))
    return Mirrors(frozen(number), as_bits(follows[np.ix_(number, number)]), frozen(sheets), frozen(blocks))


def as_bits(flags: BoolArray) -> NDArray[np.uint8]:
    """Pack flags (..., f) into bytes (..., ceil(f / 8)), the first flag in the lowest bit."""
    bits: NDArray[Any] = np.packbits(flags, axis=-1, bitorder="little")
    bits.setflags(write=False)
    return bits


def split(order: int, sources: int, ears: int) -> tuple[int, int]:
    """Mirrors of a source's and of an ear's beams for paths up to `order`: the side of fewer points has more.

    A source's beams have at least one, as only they know which facets may come first.
    """
    more, less = (order + 1) // 2, order // 2
    return (more, less) if sources < ears or less == 0 else (less, more)


@dataclass(frozen=True, slots=True)
class Reach:
    """How far beams are followed.

    Attributes
    ----------
    ends
        (e, 3) where paths may end; none: beams are followed however long they get.
    longest_m
        (e,) longest path to each of them.
    most
        Past so many beams no longer ones are grown.
    """

    ends: FloatArray
    longest_m: FloatArray
    most: int


EVERYWHERE = Reach(frozen(np.zeros((0, 3))), frozen(np.zeros(0)), 2**62)


def grow(
    point: FloatArray,
    depth: int,
    mirrors: Mirrors,
    reach_m: float,
    first: BoolArray | None = None,
    reach: Reach = EVERYWHERE,
) -> Beams:
    """Beams (see `Beams`) of a point (3,) with up to `depth` mirrors.

    reach_m: no image is further from anything; first (f,): facets that may come first, all of them when not given;
    reach: see there.
    """
    from sim.propagation.mirrors.beam_kernels import grow_beams

    number = mirrors.number
    bits = as_bits(np.ones(len(number), dtype=bool) if first is None else first[number])
    limit = (np.array(reach.ends), np.array(reach.longest_m), reach.most)
    beams: Beams = grow_beams(point, depth, bits, mirrors.facing, mirrors.sheets, mirrors.blocks, reach_m, *limit)
    return beams
