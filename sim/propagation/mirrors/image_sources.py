"""Direct and mirrored paths from every driver to every listener, and the survey of first-order mirrors.

Exact for flat surfaces: image sources in rooms of any shape, each traced back from the ear and tested for
obstacles (Borish, J. Acoust. Soc. Am. 75 (1984) 1827-1836).  Edge diffraction is in `edges`: a path is whole
or not there, and its margin says how near it is to the other answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray, KeptFor, frozen
from sim.geometry.room import Room
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.propagation.mirrors.beams import Beams, Mirrors, Reach, facet_tuple, grow, lay_mirrors, slack_beside, split
from sim.propagation.paths import Candidate, CandidateTable, PathTable

SAME_PATH_M = 1.0e-6
FEW_PATHS = 64
"""Up to so many paths are compared each with each."""
MOST_MIRRORS, MOST_BEAMS = 30, 300_000
"""Where the search for every path within a time ends, if it does not end by itself."""


def edge_tuple(room: Room) -> tuple[FloatArray, IntArray, IntArray]:
    """Edges that stick out: ends, the planes of both their facets, their body."""
    known = _edges_of.find(room)
    if known is not None:
        return known
    out = room.edges.sticking_out
    pairs = room.edges.facets[out].reshape(-1, 2)
    planes = np.where(pairs >= 0, room.arrays.plane[pairs], -1)
    owner = room.arrays.owner[pairs[:, 0]]
    return _edges_of.keep((room.edges.ends[out].reshape(-1, 2, 3).copy(), planes.reshape(-1, 2), owner.copy()), room)


_edges_of: KeptFor[tuple[FloatArray, IntArray, IntArray]] = KeptFor(8)


def first_mirrors(room: Room, loudspeaker: PlacedLoudspeaker) -> BoolArray:
    """Return (f,): facets that may mirror first; not its own box, not the surface it is built into."""
    others: BoolArray = room.arrays.owner != room.owner_number(loudspeaker.body)
    if loudspeaker.built_into:
        others &= np.array([facet.name not in loudspeaker.built_into for facet in room.facets])
    return others


def trace_paths(built: BuiltScene, order: int, *, beside_m: float = 0.0) -> PathTable:
    """Find every path of up to `order` mirrors from each driver to each listener.

    Direct sound is always listed, blocked or not.  Paths that differ by less than a micrometre everywhere (a
    point exactly on the border of two surfaces) are kept once.

    With `beside_m`, paths are kept whose points lie beside a bare side of their facets (`bare_sides`) by less than
    that; their margins are negative, and legs are asked for obstacles by way of the nearest point of the rim.  What
    such a path still carries is for `finite_facets` to say.
    """
    beside = slack_beside(built.room, beside_m)
    mirrors, reach = lay_mirrors(built.room, beside[0]), reach_m(built, order)
    sources = sum(len(loudspeaker.driver_points) for loudspeaker in built.loudspeakers)
    ahead, behind = split(order, sources, len(built.ears))
    ear_beams = [grow(ear, behind, mirrors, reach) for ear in np.array(built.ears)]
    room = (facet_tuple(built.room), edge_tuple(built.room))
    found: list[_Found] = []
    for s, loudspeaker in enumerate(built.loudspeakers):
        allowed = first_mirrors(built.room, loudspeaker)
        for d, source in enumerate(np.array(loudspeaker.driver_points)):
            beams = grow(source, ahead, mirrors, reach, allowed)
            for place in range(len(built.ears)):
                found.append(_found(built, (s, d, place), beams, ear_beams[place], order, mirrors, beside, room))
    return _table(built, found)


@dataclass(frozen=True, slots=True)
class PathsWithin:
    """Every path that is no longer than the direct sound by more than so much.

    Attributes
    ----------
    paths
        The table.
    complete
        Whether the search came to an end by itself: then there is no further path, whatever its order.
    deepest
        Most mirrors followed.
    """

    paths: PathTable
    complete: bool
    deepest: int


def trace_within(built: BuiltScene, extra_m: float, *, beside_m: float = 0.0) -> PathsWithin:
    """Find every path that is at most `extra_m` longer than the direct one, whatever its order.

    A beam is given up when the straight way from its image to the ear is too long already: later mirrors only make it
    longer.  So the search ends by itself, where it does not meet `MOST_MIRRORS` or `MOST_BEAMS` first.
    """
    beside = slack_beside(built.room, beside_m)
    mirrors, reach = lay_mirrors(built.room, beside[0]), reach_m(built, MOST_MIRRORS)
    room = (facet_tuple(built.room), edge_tuple(built.room))

    def one(job: tuple[int, int, int]) -> tuple[PathTable, bool, int]:
        s, d, place = job
        source, ear = np.array(built.loudspeakers[s].driver_points[d]), np.array(built.ears[place])
        longest = float(np.linalg.norm(ear - source)) + extra_m
        limit = Reach(ear[None], np.array([longest]), MOST_BEAMS)
        beams = grow(source, MOST_MIRRORS, mirrors, reach, first_mirrors(built.room, built.loudspeakers[s]), limit)
        none = grow(ear, 0, mirrors, reach)
        counts = beams[5][:, -1] - beams[5][:, 0]
        grown = int(np.flatnonzero(counts)[-1])
        found = _table(built, [_found(built, job, beams, none, max(grown, 1), mirrors, beside, room)])
        ended = len(beams[5]) == MOST_MIRRORS + 1 and not counts[-1]
        return found.chosen(np.flatnonzero(found.length_m <= longest)), bool(ended), grown

    jobs = [
        (s, d, place)
        for s, loudspeaker in enumerate(built.loudspeakers)
        for d in range(len(loudspeaker.driver_points))
        for place in range(len(built.ears))
    ]
    with ThreadPoolExecutor(all_cores()) as pool:
        rows, ended, grown = zip(*pool.map(one, jobs), strict=True)
    return PathsWithin(joined(list(rows)), all(ended), max(grown))


_Found = tuple[tuple[int, int, int], IntArray, FloatArray, tuple[FloatArray, IntArray, IntArray]]
"""Loudspeaker, driver and listener; facets (p, K) and points (p, K, 3) of their paths; margins."""


def _found(
    built: BuiltScene,
    job: tuple[int, int, int],
    source_beams: Beams,
    ear_beams: Beams,
    order: int,
    mirrors: Mirrors,
    beside: tuple[FloatArray, BoolArray],
    arrays: tuple[tuple[Any, ...], tuple[Any, ...]],
) -> _Found:
    """Paths of one driver to one listener (loudspeaker, driver, listener), the direct one first.

    arrays: `facet_tuple` and `edge_tuple` of the room.
    """
    from sim.propagation.mirrors.kernels import path_margins
    from sim.propagation.mirrors.path_kernels import find_paths

    s, d, place = job
    room, loudspeaker, (facets, edges) = built.room, built.loudspeakers[s], arrays
    own = room.owner_number(loudspeaker.body)
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
    sequences, points = find_paths(
        source_beams, ear_beams, order, mirrors.number, mirrors.facing, own, facets, beside, room.ray_arrays
    )
    keep = _distinct(points, sequences)
    # the direct path is a path without mirrors
    sequences = np.vstack([np.full((1, order), -1), sequences[keep]])
    points = np.concatenate([np.full((1, order, 3), np.nan), points[keep]])
    return job, sequences, points, path_margins(source, ear, sequences, points, own, facets, edges)


def reach_m(built: BuiltScene, order: int) -> float:
    """No image of `order` mirrors is further than this from anything in the room, sources and ears included."""
    points = [built.room.triangles.reshape(-1, 3), *(one.driver_points for one in built.loudspeakers), built.ears]
    return (2 * order + 2) * float(np.linalg.norm(np.ptp(np.concatenate(points), axis=0)))


def _distinct(points: FloatArray, sequences: IntArray) -> IntArray:
    """Numbers of the paths that differ from all earlier ones by more than a micrometre somewhere."""
    if len(points) == 0:  # a wall parts source and ear
        return np.zeros(0, dtype=np.int64)
    rows = np.empty((len(points), 1 + points[0].size))
    rows[:, 0] = (sequences >= 0).sum(axis=1)
    np.rint(points.reshape(len(points), -1) / SAME_PATH_M, out=rows[:, 1:])
    if len(rows) <= FEW_PATHS:
        from sim.propagation.mirrors.path_kernels import first_of_each

        return np.asarray(first_of_each(rows))
    first: dict[tuple[float, ...], int] = {}
    for row, numbers in enumerate(np.nan_to_num(rows).tolist()):
        first.setdefault(tuple(numbers), row)
    return np.array(list(first.values()), dtype=np.int64)


def _table(built: BuiltScene, found: Sequence[_Found]) -> PathTable:
    """One table of the paths of some drivers to some listeners; each begins with its direct one."""
    from sim.rays.shape_kernels import blocker

    counts = [len(sequences) for _, sequences, _, _ in found]
    s, d, place = (np.repeat([job[n] for job, *_ in found], counts) for n in range(3))
    sources = np.array([built.loudspeakers[job[0]].driver_points[job[1]] for job, *_ in found])
    ears = np.array([built.ears[job[2]] for job, *_ in found])
    sequences = np.concatenate([each for _, each, _, _ in found])
    points = np.concatenate([each for _, _, each, _ in found])
    margin, which, kind = (np.concatenate([margins[n] for *_, margins in found]) for n in range(3))
    source, ear = np.repeat(sources, counts, axis=0), np.repeat(ears, counts, axis=0)
    n = len(sequences)
    order = (sequences >= 0).sum(axis=1)
    filled = np.concatenate([source[:, None], points, np.full((n, 1, 3), np.nan)], axis=1)
    filled[np.arange(n), order + 1] = ear
    steps = np.linalg.norm(np.diff(filled, axis=1), axis=2)
    first, last = filled[:, 1], filled[np.arange(n), order]
    blocked = np.zeros(n, dtype=bool)
    rays = built.room.ray_arrays
    for number, direct in enumerate(np.cumsum([0, *counts[:-1]])):
        own = built.room.owner_number(built.loudspeakers[found[number][0][0]].body)
        blocked[direct] = blocker(sources[number], ears[number], -1, -1, own, *rays) >= 0
    columns = (
        *(s, d, place, order, sequences, points, np.nansum(steps, axis=1), _unit(first - source), _unit(last - ear)),
        *(blocked, margin, np.where(kind == 0, which, -1), np.where(kind == 1, which, -1)),
    )
    return PathTable(**{name: frozen(one) for name, one in zip(PathTable.__slots__, columns, strict=True)})


def joined(tables: list[PathTable]) -> PathTable:
    """Put tables one below the other and make them read-only; those of fewer turns are filled up."""
    turns = max(table.facets.shape[1] for table in tables)
    columns = {name: [getattr(table, name) for table in tables] for name in PathTable.__slots__}
    fill = [((0, 0), (0, turns - table.facets.shape[1])) for table in tables]
    columns["facets"] = [np.pad(t.facets, pad, constant_values=-1) for t, pad in zip(tables, fill, strict=True)]
    columns["points"] = [
        np.pad(t.points, (*pad, (0, 0)), constant_values=np.nan) for t, pad in zip(tables, fill, strict=True)
    ]
    return PathTable(**{name: frozen(np.concatenate(parts)) for name, parts in columns.items()})


def _unit(vectors: FloatArray) -> FloatArray:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


STATUS = ("reaches", "misses", "blocked", "own")


def survey_first_order(built: BuiltScene) -> tuple[Candidate, ...]:
    """Ask of every surface whether it mirrors a driver to a listener, and if not, by how much it fails.

    Delay and level are those of a hard surface and equal radiation in all directions (the mirror formula), so
    that they can be checked with tape and mirror.
    """
    table, room = survey_table(built), built.room
    names = [(one.name, [driver.name for driver in one.model.drivers]) for one in built.loudspeakers]
    numbers = zip(
        *(column.tolist() for column in (table.loudspeaker, table.driver, table.listener, table.facet, table.status)),
        *(column.tolist() for column in (table.rim_m, table.blocked_by, table.shade_m, table.delay_ms, table.level_db)),
        strict=True,
    )
    found = []
    for row, (s, d, place, f, status, rim, owner, shade, delay, level) in enumerate(numbers):
        facet, name = room.facets[f], names[s][0]
        driver, blocker = names[s][1][d], room.owners[owner] if owner >= 0 else ""
        here = (facet.name, facet.owner, STATUS[status], table.point[row])
        found.append(Candidate(name, driver, place, f, *here, rim, blocker, shade, delay, level))
    return tuple(found)


def survey_table(built: BuiltScene) -> CandidateTable:
    """The same as arrays."""
    from sim.propagation.mirrors.survey_kernels import survey_all

    room, speed = built.room, built.air.speed_of_sound_m_s
    owns = [room.owner_number(one.body) for one in built.loudspeakers]
    drivers = [(s, d) for s, one in enumerate(built.loudspeakers) for d in range(len(one.driver_points))]
    speakers, numbers = np.array(drivers, dtype=np.int64).reshape(-1, 2).T
    sources, ears = np.concatenate([one.driver_points for one in built.loudspeakers]), np.array(built.ears)
    own = np.array(owns, dtype=np.int64)[speakers]
    found = survey_all(sources, own, ears, facet_tuple(room), room.ray_arrays, edge_tuple(room))
    pair, f = np.nonzero(found[1] & np.repeat(room.arrays.owner != own[:, None], len(ears), axis=0))
    points, inside, rim, blocked_by, shade = (found[n][pair, f] for n in (0, 2, 3, 4, 5))
    source, place = np.divmod(pair, len(ears))
    allowed = np.array([first_mirrors(room, one) for one in built.loudspeakers])[speakers[source], f]
    here, there = sources[source], ears[place]
    direct = np.linalg.norm(there - here, axis=1)
    length = np.linalg.norm(points - here, axis=1) + np.linalg.norm(there - points, axis=1)
    hidden = blocked_by >= 0
    status = np.where(allowed, np.where(~inside, 1, np.where(hidden, 2, 0)), 3)
    who = np.where(hidden, room.owner_of_triangle[np.maximum(blocked_by, 0)], -1)
    columns: tuple[Any, ...] = (
        *(speakers[source], numbers[source], place, f, status, points, rim, who, shade),
        *(1000.0 * (length - direct) / speed, 20.0 * np.log10(direct / length)),
    )
    return CandidateTable(*(frozen(column) for column in columns))
