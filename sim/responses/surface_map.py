"""Surface maps: how much early sound reaches the head box via each patch of each facet.

M_b(x) = 10 lg of the mean over head positions and placement errors of the sum over the valid first-order paths by
this surface of |p_b|^2 / |p_direct,b|^2 * w(x - x0): w is 1 at the reflection point x0 and falls to 0 at the border of
the first Fresnel zone of the band's middle frequency (extra path of half a wavelength; Born & Wolf, Principles of
Optics).  The highest value lies at the reflection point; its area is what a panel has to cover.  Facets that continue
each other in one plane, a wall and the glass flush in it, share their zones: a zone does not end at a frame, since the
sound that makes a reflection comes from both sides of it.
"""

from __future__ import annotations

from collections.abc import Collection
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache, partial
from itertools import product

import numpy as np

from sim.acoustics.bands import Bands, sample_frequencies
from sim.acoustics.levels import SILENCE_DB
from sim.arrays import BoolArray, ComplexArray, FloatArray, IntArray, KeptFor, frozen
from sim.geometry.facets import Facet
from sim.machine.processes import all_cores
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.beams import facet_tuple
from sim.propagation.mirrors.image_sources import first_mirrors
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.records import SurfaceMap

POINTS_PER_OCTAVE = 4
WORTH_THREADS = 20_000
"""From so many cells on, maps are shared out among threads."""
Samples = list[list[tuple[FloatArray, BoolArray, FloatArray]]]
"""For each loudspeaker and driver what `_samples` returns."""


def head_positions(head_box: FloatArray) -> FloatArray:
    """Offsets (h, 3) in metres: the middle of the head box and its eight corners."""
    return _head_positions(*head_box.tolist())


@lru_cache(maxsize=16)
def _head_positions(*size_m: float) -> FloatArray:
    corners = np.array(list(product((-0.5, 0.5), repeat=3))) * np.array(size_m)
    return frozen(np.unique(np.vstack([np.zeros((1, 3)), corners]), axis=0))


@lru_cache(maxsize=16)
def placement_errors(error_m: float) -> FloatArray:
    """Offsets (e, 3) in metres of a whole loudspeaker: none, and one error along each direction."""
    steps = np.vstack([np.zeros((1, 3)), np.eye(3), -np.eye(3)]) * error_m
    return frozen(np.unique(steps, axis=0))


def surface_maps(
    built: BuiltScene, bands: Bands, grid_m: float, placement_error_m: float, only: Collection[str] | None = None
) -> tuple[SurfaceMap, ...]:
    """Return a map for every facet of a surface by which any sample path reaches the ear; others get nothing.

    only: names of the facets that are wanted, all when left out.
    """
    heads = built.ears[0] + head_positions(built.head_box)
    errors = placement_errors(placement_error_m)
    pairs = list(product(range(len(heads)), range(len(errors))))
    ears = np.array([heads[h] for h, _ in pairs])
    shifts = np.array([errors[e] for _, e in pairs])
    room = built.room
    surface_of = list(zip(room.arrays.plane.tolist(), room.arrays.owner.tolist(), strict=True))
    wanted = [f for f, facet in enumerate(room.facets) if only is None or facet.name in only]
    surfaces = {surface_of[f] for f in wanted}
    by_surface: dict[tuple[int, int], dict[int, Samples]] = {}
    mirrors = [first_mirrors(room, loudspeaker) for loudspeaker in built.loudspeakers]
    for f, surface in enumerate(surface_of):
        if surface not in surfaces or not any(allowed[f] for allowed in mirrors):
            continue
        samples = [_samples(built, f, s, ears, shifts, bool(mirrors[s][f])) for s in range(len(built.loudspeakers))]
        if any(valid.any() for one in samples for _, valid, _ in one):
            by_surface.setdefault(surface, {})[f] = samples
    if not by_surface:
        return ()
    met = {f: samples for known in by_surface.values() for f, samples in known.items()}
    direct, energies = _energies(built, met, ears, shifts, bands)
    works = [(f, by_surface.get(surface_of[f])) for f in wanted]
    mapped = [
        partial(_map, built, f, mine, direct, energies, ears, bands, grid_m) for f, mine in works if mine is not None
    ]
    if sum(room.facets[f].area_m2 for f, mine in works if mine) < WORTH_THREADS * grid_m**2:
        return tuple(work() for work in mapped)
    with ThreadPoolExecutor(max_workers=all_cores()) as pool:  # each map is worked on by one thread alone
        return tuple(pool.map(lambda work: work(), mapped))


def _samples(
    built: BuiltScene, f: int, s: int, ears: FloatArray, shifts: FloatArray, allowed: bool
) -> list[tuple[FloatArray, BoolArray, FloatArray]]:
    """For each driver of a loudspeaker: sources (m, 3), whether the path by facet f is valid (m,), points (m, 3)."""
    from sim.propagation.mirrors.kernels import mirror_samples

    room, loudspeaker = built.room, built.loudspeakers[s]
    own = room.owner_number(loudspeaker.body)
    if not allowed:
        empty = np.zeros(len(ears), dtype=np.bool_)
        return [(point + shifts, empty, np.full_like(ears, np.nan)) for point in loudspeaker.driver_points]
    facets, found = facet_tuple(room), []
    for point in loudspeaker.driver_points:
        sources = point + shifts
        valid, points = mirror_samples(sources, ears, f, own, facets, room.ray_arrays)
        found.append((sources, valid, points))
    return found


def _energies(
    built: BuiltScene, met: dict[int, Samples], ears: FloatArray, shifts: FloatArray, bands: Bands
) -> tuple[list[FloatArray], dict[tuple[int, int, int], FloatArray]]:
    """Work out all sample paths together, as one table.

    Returns direct sound's energy (m, band) of each loudspeaker, its drivers added as pressures, and energies (n, band)
    of the valid sample paths by facet, loudspeaker and driver.
    """
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    speakers = [(s, d) for s, one in enumerate(built.loudspeakers) for d in range(len(one.driver_points))]
    parts: list[tuple[int, int, int, FloatArray, FloatArray, FloatArray]] = [
        (-1, s, d, built.loudspeakers[s].driver_points[d] + shifts, ears, ears) for s, d in speakers
    ]
    for f, samples in met.items():
        for s, d in speakers:
            sources, valid, points = samples[s][d]
            rows = np.flatnonzero(valid)
            if rows.size:
                parts.append((f, s, d, sources[rows], points[rows], ears[rows]))
    counts = np.array([len(part[3]) for part in parts])
    facet, loudspeaker, driver = (np.repeat(np.array([part[n] for part in parts]), counts) for n in range(3))
    sources, toward, ends = (np.concatenate([part[n] for part in parts]) for n in (3, 4, 5))
    n, first = len(sources), np.linalg.norm(toward - sources, axis=1)
    last = np.where(facet >= 0, np.linalg.norm(ends - toward, axis=1), 0.0)
    length, blank, nothing = first + last, np.zeros(n), np.full(n, -1)
    paths = PathTable(
        *(loudspeaker, driver, np.zeros(n, int), np.ones(n, int), facet[:, None], toward[:, None], length),
        *((toward - sources) / first[:, None], ends, blank > 0, blank, nothing, nothing),
    )
    gains = path_gains(built, paths, frequencies.ravel(), coupled=False)
    start = np.concatenate([[0], np.cumsum(counts)])
    direct = [np.zeros((len(ears), frequencies.size), dtype=np.complex128) for _ in built.loudspeakers]
    for number, (s, _) in enumerate(speakers):
        direct[s] += gains[start[number] : start[number + 1]]
    first_met = len(speakers)
    heard = _in_bands(gains[start[first_met] :], frequencies.shape)
    energies = {
        part[:3]: heard[start[number] - start[first_met] : start[number + 1] - start[first_met]]
        for number, part in enumerate(parts[first_met:], first_met)
    }
    return [_in_bands(one, frequencies.shape) for one in direct], energies


def _in_bands(gains: ComplexArray, shape: tuple[int, ...]) -> FloatArray:
    """Mean energy (m, band) of gains (m, band * points)."""
    return np.asarray((gains.real**2 + gains.imag**2).reshape(len(gains), *shape).mean(axis=-1))


def _map(
    built: BuiltScene,
    f: int,
    met: dict[int, Samples],
    direct: list[FloatArray],
    energies: dict[tuple[int, int, int], FloatArray],
    ears: FloatArray,
    bands: Bands,
    grid_m: float,
) -> SurfaceMap:
    from sim.propagation.surfaces.kernels import spread

    facet = built.room.facets[f]
    flat, cell, shape, origin, inside, places = _grid_kept(facet, grid_m)
    axes = [0, 1] if shape[0] <= shape[1] else [1, 0]  # few long rows of cells take less time than many short ones
    cells = np.array(inside.transpose(axes), order="C")
    wavelength = built.air.speed_of_sound_m_s / bands.exact_hz
    loudspeakers = range(len(direct))
    most = max(len(one) for samples in met.values() for one in samples)
    ratio = np.zeros((len(direct), len(bands), len(flat)))
    nominal = np.full((len(direct), most, 3), np.nan)
    middle = int(np.argmin(np.linalg.norm(ears - built.ears[0], axis=1)))
    for s in loudspeakers:
        parts = [(g, d, *one) for g, samples in met.items() for d, one in enumerate(samples[s]) if one[1].any()]
        if not parts:
            continue
        rows = [np.flatnonzero(valid) for _, _, _, valid, _ in parts]
        points = np.concatenate([one[-1][few] for one, few in zip(parts, rows, strict=True)])
        go = points - np.concatenate([one[2][few] for one, few in zip(parts, rows, strict=True)])
        which = np.concatenate(rows)
        come = ears[which] - points
        d1, d2 = (np.sqrt((each * each).sum(axis=1)) for each in (go, come))
        energy = np.concatenate([energies[g, s, d] for g, d, *_ in parts]) / direct[s][which] / len(ears)
        way = go @ facet.frame[1:].T
        length = np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
        along = np.where(length > 1e-9, way / length, np.array([1.0, 0.0]))
        spread(
            np.ascontiguousarray(facet.to_plane(points)[:, axes]),
            np.ascontiguousarray(along[:, axes]),
            np.maximum(np.abs(go @ facet.normal) / d1, 0.05),
            d1 * d2 / (d1 + d2),
            energy,
            wavelength,
            origin[axes],
            grid_m,
            max(shape),
            cells,
            ratio[s],
        )
        for g, d, sources, valid, met_at in parts:
            if g == f:  # the sample nearest to the nominal positions is the nominal one
                nominal[s, d] = _nominal(built, f, s, d, met_at, valid, sources, ears, middle)
    weight = np.stack([one.mean(axis=0) for one in direct])
    both = ratio[0] * weight[0][:, None]
    for one, share in zip(ratio[1:], weight[1:], strict=True):
        both += one * share[:, None]
    both /= weight.sum(axis=0)[:, None]
    return SurfaceMap(
        f,
        facet.name,
        facet.owner,
        places,
        cell,
        shape,
        flat,
        grid_m,
        frozen(_levels(ratio)),
        frozen(_levels(both)),
        frozen(nominal),
    )


def _nominal(
    built: BuiltScene,
    f: int,
    s: int,
    d: int,
    points: FloatArray,
    valid: BoolArray,
    sources: FloatArray,
    ears: FloatArray,
    middle: int,
) -> FloatArray:
    away = np.linalg.norm(sources - built.loudspeakers[s].driver_points[d], axis=1)
    away = away + np.linalg.norm(ears - ears[middle], axis=1)
    best = int(np.argmin(away))
    return points[best] if valid[best] else np.full(3, np.nan)


def _levels(energies: FloatArray) -> FloatArray:
    """As `level_db`, but nothing is minus infinity; in place, since most of the time is that of new memory."""
    heard = energies > 0.0
    np.log(energies, out=energies, where=heard)
    energies *= 10.0 / np.log(10.0)
    np.maximum(energies, SILENCE_DB, out=energies, where=heard)
    np.copyto(energies, -np.inf, where=~heard)
    return energies


_Grid = tuple[FloatArray, IntArray, tuple[int, int], FloatArray, IntArray, FloatArray]


def _grid_kept(facet: Facet, grid_m: float) -> _Grid:
    """What `grid_of` gives, and the cells' places (g, 3) in the room; the same again for the same facet."""
    known = _grids.find(facet)
    if known is None or known[0] != grid_m:
        flat, cell, shape, origin, inside = grid_of(facet, grid_m)
        found = (frozen(flat), frozen(cell), shape, frozen(origin), frozen(inside), frozen(facet.from_plane(flat)))
        known = _grids.keep((grid_m, found), facet)
    return known[1]


_grids: KeptFor[tuple[float, _Grid]] = KeptFor(32)


def grid_of(facet: Facet, grid_m: float) -> tuple[FloatArray, IntArray, tuple[int, int], FloatArray, IntArray]:
    """Lay a grid over a facet, centred on its bounding rectangle.

    Returns the middles of the cells inside the facet (g, 2) in its plane, their place (g, 2), the grid's shape,
    the middle of cell (0, 0), and an array of that shape with each cell's number or -1 outside.  A facet
    narrower than the grid gets one row along its middle.
    """
    from sim.propagation.surfaces.kernels import points_inside

    ends = facet.border.reshape(-1, 2)
    low, high = ends.min(axis=0), ends.max(axis=0)
    count = np.maximum(1, np.floor((high - low) / grid_m + 1e-9).astype(int))
    origin = 0.5 * (low + high) - 0.5 * (count - 1) * grid_m
    places = np.indices((int(count[0]), int(count[1]))).reshape(2, -1).T
    middles = origin + places * grid_m
    keep = points_inside(middles, facet.border)
    inside = np.full(tuple(count), -1, dtype=np.int64)
    inside[tuple(places[keep].T)] = np.arange(int(keep.sum()))
    return middles[keep], places[keep], (int(count[0]), int(count[1])), origin, inside
