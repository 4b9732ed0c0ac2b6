"""Edge diffraction, for every driver and listener: single edges, with a mirror before or after, and chains.

Single edges come from every bare edge and the frames of panels (`panel_frames`), as open as they are (`openness`); one
mirror before or after from every surface large enough to matter, and both from the surface a body stands on; chains of
two and three edges from every convex body (`chains`), with a mirror from those that stand on it or near, and with the
body's own image where it touches (`merged`).
Gains are kept on one grid of frequencies with the phase of the shortest way taken off, and interpolated where they are
wanted.

Left out, never silently: mirrors smaller than 0.3 m2, and all mirrors in rooms of very many edges; ways that stay 50 dB
under the direct sound in every octave from 125 Hz to 8 kHz (`EdgePathTable.left_out` counts them); chains with other
mirrors, and from one body to another.  A chain that another body hides in part has the fraction of its first and last
edge that are seen.  Faces beside single edges reflect what their material does; chains are those of rigid bodies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any, Literal, TypeAlias, TypeVar

import numpy as np

from sim.arrays import FloatArray, IntArray, frozen
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.chain_twins import twins
from sim.propagation.edges.chains import MOST_IN_TURN, ChainWork
from sim.propagation.edges.diffracting import diffracting
from sim.propagation.edges.one_driver import FLOOR_DB as FLOOR_DB
from sim.propagation.edges.one_driver import Chain, DriverToEar, Found, Plan, Row
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.surfaces.two_finite_mirrors import edge_frequencies as edge_frequencies

Depth: TypeAlias = Literal["single", "mirrored", "full"]
"""How much is traced: single edges; those with mirrors before and after them too; edges in turn as well."""


class EdgesStoppedError(Exception):
    """The tracing of edges was asked to stop; nothing of it is kept."""


def never() -> bool:
    """Never ask to stop."""
    return False


_Result = TypeVar("_Result")


def trace_edges(
    built: BuiltScene,
    order: int = 2,
    *,
    in_turn: int = MOST_IN_TURN,
    depth: Depth = "full",
    stop: Callable[[], bool] = never,
) -> EdgePathTable:
    """Diffract sound at the edges of the built scene, from every driver to every listener; order 1 leaves mirrors out.

    in_turn: most edges of one body in a chain, 1 to 3; 2 for trials among many layouts (what it leaves out, in dB:
    `docs/explanation/edges.md`).  depth: as `Depth` says; each has all rows of the one before it, to the last bit.
    stop: asked now and then (a few hundred times a second on each thread, from several at once), whether to stop.
    Drivers, mirrors and sums of chains are shared out among threads (the kernels let go of the interpreter); each is
    worked on by one thread alone and rows keep their order, so the result does not depend on how many there are.
    """
    frequencies = edge_frequencies()
    found = diffracting(built)
    plan = Plan(order > 1 and depth != "single", in_turn if depth == "full" else 1)
    drivers = [
        DriverToEar(built, (s, d, place), found, frequencies, plan)
        for s, loudspeaker in enumerate(built.loudspeakers)
        for d in range(len(loudspeaker.driver_points))
        for place in range(len(built.ears))
    ]
    with ThreadPoolExecutor(max_workers=all_cores()) as pool:

        def shared(works: Iterable[Callable[[], _Result]]) -> list[_Result]:
            def work(one: Callable[[], _Result]) -> _Result:
                _go_on_unless(stop)
                return one()

            return list(pool.map(work, works))

        firsts = shared(one.without_mirrors for one in drivers)
        for one, (singles, _) in zip(drivers, firsts, strict=True):
            one.found = [singles]
        bodies: list[tuple[int, Chain]] = [
            (n, (owner, (), ())) for n, one in enumerate(drivers) for owner in one.bodies()
        ]
        chains = _chains(drivers, bodies, shared)
        turns = [(n, turn) for n, one in enumerate(drivers) for turn in one.turns()]
        mirrored = shared(partial(drivers[n].way, *turn) for n, turn in turns)
        for n, one in enumerate(drivers):
            one.found = [firsts[n][0], *(way for (m, _), way in zip(turns, mirrored, strict=True) if m == n)]
            one.found.append(firsts[n][1])
        over = [
            (n, chain)
            for (n, (owner, _, _)), (_, level, _) in zip(bodies, chains, strict=True)
            for chain in drivers[n].mirrored_chains(owner, level)
        ]
        chains += _chains(drivers, over, shared)
    for (n, _), (row, _, kept) in zip([*bodies, *over], chains, strict=True):
        drivers[n].found.append(Found([row] if kept else [], 0 if kept else 1, set()))
    rows = [row for one in drivers for way in one.found for row in way.rows]
    return _table(rows, frequencies, sum(way.dropped for one in drivers for way in one.found))


def _chains(
    drivers: list[DriverToEar],
    chains: list[tuple[int, Chain]],
    shared: Callable[[Iterable[Callable[[], Any]]], list[Any]],
) -> list[tuple[Row, float, bool]]:
    """Rows of chains (driver, (owner, before, after)), their levels in dB, and whether they count.

    Chains that are mirror images of others are summed once; large sums begin first.
    """
    works: list[ChainWork] = shared(partial(drivers[n].chain, chain) for n, chain in chains)
    same = twins(works)
    pieces = [(n, m) for n, work in enumerate(works) if same[n] == n for m in range(len(work.sums))]
    pieces.sort(key=lambda piece: -works[piece[0]].sums[piece[1]].size)
    pressures = dict(zip(pieces, shared(works[n].sums[m].pressure for n, m in pieces), strict=True))
    return [
        drivers[n].chained(chain, work, [pressures[twin, m] for m in range(len(work.sums))])
        for (n, chain), work, twin in zip(chains, works, same, strict=True)
    ]


def _go_on_unless(stop: Callable[[], bool]) -> None:
    if stop():
        raise EdgesStoppedError


def _table(rows: list[Row], frequencies_hz: FloatArray, left_out: int) -> EdgePathTable:
    def numbers(k: int) -> IntArray:
        return frozen(np.array([row[k] for row in rows], dtype=np.int64))

    return EdgePathTable(
        loudspeaker=numbers(0),
        driver=numbers(1),
        listener=numbers(2),
        owner=numbers(3),
        edge=numbers(4),
        before=numbers(5),
        after=numbers(6),
        points=frozen(np.array([row[7] for row in rows], dtype=np.float64).reshape(-1, 3, 3)),
        length_m=frozen(np.array([row[8] for row in rows], dtype=np.float64)),
        frequencies_hz=frozen(frequencies_hz),
        gains=frozen(np.array([row[9] for row in rows], dtype=np.complex128).reshape(-1, len(frequencies_hz))),
        left_out=left_out,
    )


def no_edge_paths() -> EdgePathTable:
    """An empty table, for a built scene whose edges are left out."""
    return _table([], edge_frequencies(), 0)
