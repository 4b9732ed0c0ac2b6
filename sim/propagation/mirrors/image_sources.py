"""Direct and mirrored paths from every driver to every listener, and the survey of first-order mirrors.

Exact for flat surfaces: image sources in rooms of any shape, each traced back from the ear and tested for
obstacles (Borish, J. Acoust. Soc. Am. 75 (1984) 1827-1836).  Edge diffraction is in `edges`: a path is whole
or not there, and its margin says how near it is to the other answer.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.geometry.room import Room
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.placement.poses import PlacedLoudspeaker
from sim.propagation.mirrors.beams import Beams, Mirrors, Reach, facet_tuple, grow, lay_mirrors, slack_beside, split
from sim.propagation.paths import Candidate, PathTable

SAME_PATH_M = 1.0e-6
MOST_MIRRORS, MOST_BEAMS = 30, 300_000
"""Where the search for every path within a time ends, if it does not end by itself."""


def edge_tuple(room: Room) -> tuple[FloatArray, IntArray, IntArray]:
    """Edges that stick out: ends, the planes of both their facets, their body."""
    out = room.edges.sticking_out
    pairs = room.edges.facets[out].reshape(-1, 2)
    planes = np.where(pairs >= 0, room.arrays.plane[pairs], -1)
    owner = room.arrays.owner[pairs[:, 0]]
    return (room.edges.ends[out].reshape(-1, 2, 3).copy(), planes.reshape(-1, 2), owner.copy())


def first_mirrors(room: Room, loudspeaker: PlacedLoudspeaker) -> BoolArray:
    """Return (f,): facets that may mirror first; not its own box, not the surface it is built into."""
    own = room.owner_number(loudspeaker.body)
    return np.array(
        [room.arrays.owner[i] != own and f.name not in loudspeaker.built_into for i, f in enumerate(room.facets)]
    )


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
    rows: list[PathTable] = []
    for s, loudspeaker in enumerate(built.loudspeakers):
        allowed = first_mirrors(built.room, loudspeaker)
        for d, source in enumerate(np.array(loudspeaker.driver_points)):
            beams = grow(source, ahead, mirrors, reach, allowed)
            for place in range(len(built.ears)):
                rows.append(_found(built, (s, d, place), beams, ear_beams[place], order, mirrors, beside))
    return joined(rows)


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

    def one(job: tuple[int, int, int]) -> tuple[PathTable, bool, int]:
        s, d, place = job
        source, ear = np.array(built.loudspeakers[s].driver_points[d]), np.array(built.ears[place])
        longest = float(np.linalg.norm(ear - source)) + extra_m
        limit = Reach(ear[None], np.array([longest]), MOST_BEAMS)
        beams = grow(source, MOST_MIRRORS, mirrors, reach, first_mirrors(built.room, built.loudspeakers[s]), limit)
        none = grow(ear, 0, mirrors, reach)
        counts = beams[5][:, -1] - beams[5][:, 0]
        grown = int(np.flatnonzero(counts)[-1])
        found = _found(built, job, beams, none, max(grown, 1), mirrors, beside)
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


def _found(
    built: BuiltScene,
    job: tuple[int, int, int],
    source_beams: Beams,
    ear_beams: Beams,
    order: int,
    mirrors: Mirrors,
    beside: tuple[FloatArray, BoolArray],
) -> PathTable:
    """Paths of one driver to one listener (loudspeaker, driver, listener), the direct one first."""
    from sim.propagation.mirrors.kernels import path_margins
    from sim.propagation.mirrors.path_kernels import find_paths

    s, d, place = job
    room, loudspeaker = built.room, built.loudspeakers[s]
    own, facets = room.owner_number(loudspeaker.body), facet_tuple(room)
    source, ear = np.array(loudspeaker.driver_points[d]), np.array(built.ears[place])
    sequences, points = find_paths(
        source_beams, ear_beams, order, mirrors.number, mirrors.facing, own, facets, beside, room.ray_arrays
    )
    keep = _distinct(points, sequences)
    # the direct path is a path without mirrors
    sequences = np.vstack([np.full((1, order), -1), sequences[keep]])
    points = np.concatenate([np.full((1, order, 3), np.nan), points[keep]])
    margins = path_margins(source, ear, sequences, points, own, facets, edge_tuple(room))
    return _rows(built, s, d, place, source, ear, sequences, points, margins, own)


def reach_m(built: BuiltScene, order: int) -> float:
    """No image of `order` mirrors is further than this from anything in the room, sources and ears included."""
    points = [built.room.triangles.reshape(-1, 3), *(one.driver_points for one in built.loudspeakers), built.ears]
    return (2 * order + 2) * float(np.linalg.norm(np.ptp(np.concatenate(points), axis=0)))


def _distinct(points: FloatArray, sequences: IntArray) -> IntArray:
    """Numbers of the paths that differ from all earlier ones by more than a micrometre somewhere."""
    if len(points) == 0:  # a wall parts source and ear
        return np.zeros(0, dtype=np.int64)
    order = (sequences >= 0).sum(axis=1)
    key = np.column_stack([order, np.nan_to_num(np.round(points / SAME_PATH_M)).reshape(len(points), -1)])
    return np.sort(np.unique(key, axis=0, return_index=True)[1])


def _rows(
    built: BuiltScene,
    s: int,
    d: int,
    place: int,
    source: FloatArray,
    ear: FloatArray,
    sequences: IntArray,
    points: FloatArray,
    margins: tuple[FloatArray, IntArray, IntArray],
    own: int,
) -> PathTable:
    from sim.rays.shape_kernels import blocker

    n = len(sequences)
    order = (sequences >= 0).sum(axis=1)
    filled = np.concatenate([np.broadcast_to(source, (n, 1, 3)), points, np.full((n, 1, 3), np.nan)], axis=1)
    filled[np.arange(n), order + 1] = ear
    steps = np.linalg.norm(np.diff(filled, axis=1), axis=2)
    first, last = filled[:, 1], filled[np.arange(n), order]
    blocked = np.zeros(n, dtype=bool)
    blocked[0] = blocker(source, ear, -1, -1, own, *built.room.ray_arrays) >= 0
    margin, which, kind = margins
    return PathTable(
        loudspeaker=np.full(n, s),
        driver=np.full(n, d),
        listener=np.full(n, place),
        order=order,
        facets=sequences,
        points=points,
        length_m=np.nansum(steps, axis=1),
        departure=_unit(first - source),
        arrival=_unit(last - ear),
        blocked=blocked,
        margin_m=margin,
        margin_facet=np.where(kind == 0, which, -1),
        margin_edge=np.where(kind == 1, which, -1),
    )


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


def survey_first_order(built: BuiltScene) -> tuple[Candidate, ...]:
    """Ask of every surface whether it mirrors a driver to a listener, and if not, by how much it fails.

    Delay and level are those of a hard surface and equal radiation in all directions (the mirror formula), so
    that they can be checked with tape and mirror.
    """
    from sim.propagation.mirrors.kernels import survey

    room, speed = built.room, built.air.speed_of_sound_m_s
    facets, edges = facet_tuple(room), edge_tuple(room)
    found: list[Candidate] = []
    for loudspeaker in built.loudspeakers:
        own, allowed = room.owner_number(loudspeaker.body), first_mirrors(room, loudspeaker)
        for d, source in enumerate(np.array(loudspeaker.driver_points)):
            for place, ear in enumerate(np.array(built.ears)):
                points, inside, rim, blocked_by, shade = survey(source, ear, own, facets, room.ray_arrays, edges)
                direct = float(np.linalg.norm(ear - source))
                for f, facet in enumerate(room.facets):
                    if np.isnan(points[f, 0]) or facet.owner == loudspeaker.body:
                        continue
                    if not inside[f] and not _nearest_in_plane(room, f, points[f], inside):
                        continue
                    length = float(np.linalg.norm(points[f] - source) + np.linalg.norm(ear - points[f]))
                    hidden = blocked_by[f] >= 0
                    status = "misses" if not inside[f] else "blocked" if hidden else "reaches"
                    found.append(
                        Candidate(
                            loudspeaker=loudspeaker.name,
                            driver=loudspeaker.model.drivers[d].name,
                            listener=place,
                            facet=f,
                            surface=facet.name,
                            owner=facet.owner,
                            status=status if allowed[f] else "own",
                            point=frozen(points[f].copy()),
                            rim_m=float(rim[f]),
                            blocked_by=room.owners[room.owner_of_triangle[blocked_by[f]]] if hidden else "",
                            shade_m=float(shade[f]),
                            delay_ms=1000.0 * (length - direct) / speed,
                            level_db=20.0 * float(np.log10(direct / length)),
                        )
                    )
    return tuple(found)


def _nearest_in_plane(room: Room, f: int, point: FloatArray, inside: BoolArray) -> bool:
    """Whether facet f, which misses a point of its plane, is the one of its plane to be named for it.

    Among facets that continue each other one is hit, or the nearest misses; the others are no mirrors of their own.
    """
    from sim.rays.shape_kernels import distance_to_border

    mates = np.flatnonzero(room.arrays.plane == room.arrays.plane[f])
    if inside[mates].any():
        return False
    away = [distance_to_border(*room.facets[m].to_plane(point), room.facets[m].border) for m in mates]
    return int(mates[int(np.argmin(away))]) == f
