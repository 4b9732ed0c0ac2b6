"""First, second and third bounce: where early reflections strike before they reach the ear, by rays.

Every ray that reaches the ear within the target's window tells where it bounced first, second and third; its energy re
direct sound, averaged over the octaves of the target's band, counts at each of these places.  A map shows the sum over
a disc about each place: at a reflection point, when all rays of that path fall into the disc, the level of that path.
Unlike the maps of `surface_map` these know of any number of bounces and of scattered sound, but not of bending, phases
and angles of layered absorbers, and rays leave the acoustic axis point, not each driver.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import fftconvolve

from sim.acoustics.bands import octave_bands
from sim.acoustics.levels import level_db
from sim.arrays import BoolArray, FloatArray, IntArray, frozen
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.blueprint.treatment import Target
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.progress import Report, say_nothing
from sim.propagation.energy.bounce_rays import BounceRays, bounce_rays
from sim.propagation.energy.image_energy import air_per_m, octave_energy
from sim.responses.surface_map import grid_of
from sim.studies.bounces.records import BounceMap, BounceStudy, Spot

BOUNCES = 3
DISC_M = 0.25
"""Radius of the disc: what half a metre of absorber would cover (our choice)."""
APART_M = 0.5
LOWEST_DB = -25.0
MOST_SPOTS = 6
RAYS = 1_000_000


@dataclass(frozen=True, slots=True)
class Early:
    """Early arrivals of one loudspeaker: energy (n,) re direct sound, delay (n,) in ms, and the rays' own rows."""

    energy: FloatArray
    delay_ms: FloatArray
    rays: BounceRays
    rows: IntArray


def bounces(
    scene: AnyScene,
    report: Report = say_nothing,
    *,
    rays: int = RAYS,
    seed: int | None = None,
    threads: int = 0,
) -> BounceStudy:
    """Map where early sound strikes first, second and third on its way to the ear, by rays.

    `rays` are traced from each loudspeaker; the same seed (left out: the scene's) gives the same numbers for any number
    of `threads` (0: all cores).

    Raises
    ------
    BounceplanError
        For a scene, a number of rays or a seed that cannot be, or a target whose band holds no octave of
        63 Hz to 8 kHz.
    """
    read = read_scene(scene)
    built = build_scene(read.blueprint, read.folder)
    chosen = read.blueprint.method.seed if seed is None else seed
    return study_bounces(read, built, report, rays=rays, seed=chosen, threads=threads)


def study_bounces(
    scene: SceneFile, built: BuiltScene, report: Report, *, rays: int = RAYS, seed: int = 1, threads: int = 0
) -> BounceStudy:
    """Trace `rays` rays from each loudspeaker and map where they bounce on their way to the ear.

    Raises
    ------
    BounceplanError
        For fewer rays than 1, a seed that cannot be, or a target whose band holds none of the octaves 63 Hz to 8 kHz.
    """
    target = scene.blueprint.target
    octaves = judged_octaves(target)
    early = []
    for s, loudspeaker in enumerate(built.loudspeakers):
        report(f"following rays of {loudspeaker.name}")
        early.append(early_arrivals(built, s, target, octaves, rays=rays, seed=seed, threads=threads))
    report("mapping bounces")
    grid = scene.blueprint.method.grid
    maps, spots = [], []
    for f in range(len(built.room.facets)):
        found = _map(built, f, early, grid)
        if found is not None:
            maps.append(found)
    for s, one in enumerate(early):
        for bounce in range(BOUNCES):
            spots += _spots(built, s, bounce, one, grid)
    sums = [[float(each.energy[_after(each, n)].sum()) for n in range(1, 5)] for each in early]
    return BounceStudy(
        scene,
        built,
        rays,
        seed,
        tuple(octave_bands(63, 8000).nominal_hz[octaves].tolist()),
        target.window_ms,
        tuple(maps),
        tuple(spots),
        frozen(level_db(np.array(sums))),
    )


def judged_octaves(target: Target) -> BoolArray:
    """Which of the octaves 63 Hz to 8 kHz (8,) the target's band holds; raises SceneError for none."""
    nominal = octave_bands(63, 8000).nominal_hz
    low, high = target.band_hz
    held = (nominal >= low) & (nominal <= high)
    if not held.any():
        raise SceneError(
            "target.band_hz",
            f"no octave from 63 Hz to 8 kHz lies between {low:g} and {high:g} Hz",
            "let it hold the middle of one at least, such as 2000 Hz",
        )
    return np.asarray(held)


def early_arrivals(
    built: BuiltScene, s: int, target: Target, octaves: BoolArray, *, rays: int, seed: int, threads: int = 0
) -> Early:
    """Arrivals of loudspeaker `s` within the target's window, as energies re its direct sound."""
    speed, loudspeaker = built.air.speed_of_sound_m_s, built.loudspeakers[s]
    way = built.ears[0] - loudspeaker.axis_point
    length = float(np.linalg.norm(way))
    sent = octave_energy(loudspeaker.model, loudspeaker.to_box(way[None] / length), speed)[0]
    direct = sent / length**2 * np.exp(-air_per_m(built) * length)
    longest_m = length + 1e-3 * target.window_ms[1] * speed
    found = bounce_rays(built, s, seed=seed, rays=rays, longest_m=longest_m, workers=threads)
    delay_ms = 1e3 * (found.length_m - length) / speed
    rows = np.flatnonzero((delay_ms >= target.window_ms[0]) & (delay_ms <= target.window_ms[1]))
    ratio = found.energy[rows][:, octaves] / np.maximum(direct[octaves], 1e-300)
    return Early(frozen(ratio.mean(axis=1)), frozen(delay_ms[rows]), found, rows)


def _after(early: Early, bounces: int) -> BoolArray:
    """Rows that arrive after this many bounces; 4 stands for four and more."""
    count = early.rays.bounces[early.rows]
    return np.asarray(count == bounces if bounces <= BOUNCES else count > BOUNCES)


def flat_groups(built: BuiltScene) -> IntArray:
    """Number (facet,) of the flat surface each facet belongs to: facets of one body that continue each other."""
    keys = np.column_stack([built.room.arrays.plane, built.room.arrays.owner])
    return np.asarray(np.unique(keys, axis=0, return_inverse=True)[1].reshape(-1), dtype=np.int64)


def _map(built: BuiltScene, f: int, early: list[Early], grid_m: float) -> BounceMap | None:
    facet, groups = built.room.facets[f], flat_groups(built)
    mates = np.flatnonzero(groups == groups[f])
    struck = [[np.isin(one.rays.facet[one.rows, n], mates) for n in range(BOUNCES)] for one in early]
    if not any(rows.any() for one in struck for rows in one):
        return None
    _, _, shape, origin, inside = grid_of(facet, grid_m)
    levels = np.full((len(early), BOUNCES, *shape), -np.inf)
    fraction = np.zeros((len(early), BOUNCES))
    for s, one in enumerate(early):
        for n in range(BOUNCES):
            rows = np.flatnonzero(struck[s][n])
            if len(rows):
                flat = facet.to_plane(one.rays.place[one.rows[rows], n])
                levels[s, n] = level_db(disc_sums(flat, one.energy[rows], origin, shape, grid_m))
                mine = one.rays.facet[one.rows[rows], n] == f
                fraction[s, n] = one.energy[rows[mine]].sum() / one.energy.sum()
    return BounceMap(
        f, facet.name, facet.owner, shape, frozen(origin), grid_m, inside >= 0, frozen(levels), frozen(fraction)
    )


def disc_sums(
    flat: FloatArray, energy: FloatArray, origin: FloatArray, shape: tuple[int, int], grid_m: float
) -> FloatArray:
    """Sum of energies (n,) at places (n, 2) within `DISC_M` of the middle of each cell (m, n), to half a cell.

    Places beside the cells count too, as far as a disc reaches.
    """
    reach = int(np.ceil(DISC_M / grid_m))
    wide = np.array(shape) + 2 * reach
    cell = np.rint((flat - origin) / grid_m).astype(int) + reach
    near = ((cell >= 0) & (cell < wide)).all(axis=1)
    laid = np.zeros(tuple(wide))
    np.add.at(laid, tuple(cell[near].T), energy[near])
    steps = np.arange(-reach, reach + 1) * grid_m
    disc = (steps[:, None] ** 2 + steps[None, :] ** 2 <= DISC_M**2).astype(np.float64)
    sums = fftconvolve(laid, disc, mode="valid")
    return np.asarray(np.where(sums > 1e-12, sums, 0.0))  # what is below is the rounding of the transform


def _spots(built: BuiltScene, s: int, bounce: int, early: Early, grid_m: float) -> list[Spot]:
    """Strongest places of one loudspeaker at one bounce, strongest first, none nearer than `APART_M` to a stronger."""
    facets = early.rays.facet[early.rows, bounce]
    group = np.where(facets >= 0, flat_groups(built)[facets], -1)
    places = early.rays.place[early.rows, bounce]
    free = facets >= 0
    found: list[Spot] = []
    best = {int(g): _peak(built, np.flatnonzero(free & (group == g)), bounce, early, grid_m) for g in set(group[free])}
    while best and len(found) < MOST_SPOTS:
        g = max(best, key=lambda number: best[number][0])
        if best[g][0] < 10.0 ** (LOWEST_DB / 10.0):
            break
        away = np.linalg.norm(places - best[g][1], axis=1)
        here = np.flatnonzero(free & (group == g) & (away <= DISC_M))
        if len(here):
            found.append(_spot(built, s, bounce, early, here))
        free &= ~((group == g) & (away <= APART_M))
        best[g] = _peak(built, np.flatnonzero(free & (group == g)), bounce, early, grid_m)
    return found


def _peak(built: BuiltScene, rows: IntArray, bounce: int, early: Early, grid_m: float) -> tuple[float, FloatArray]:
    """Highest sum over a disc among rows, all of one flat surface, and where (3,)."""
    if len(rows) == 0:
        return 0.0, np.zeros(3)
    facet = built.room.facets[int(early.rays.facet[early.rows[rows[0]], bounce])]
    flat = facet.to_plane(early.rays.place[early.rows[rows], bounce])
    origin = flat.min(axis=0)
    across, upward = (int(count) for count in np.ceil(np.ptp(flat, axis=0) / grid_m) + 1)
    sums = disc_sums(flat, early.energy[rows], origin, (across, upward), grid_m)
    cell = np.array(np.unravel_index(int(np.argmax(sums)), sums.shape))
    return float(sums.max()), facet.from_plane(origin + cell * grid_m)


def _spot(built: BuiltScene, s: int, bounce: int, early: Early, here: IntArray) -> Spot:
    weight, rows = early.energy[here], early.rows[here]
    whole = float(weight.sum())
    error = float(np.sqrt((weight**2).sum()) / whole)
    mirrored = float(weight[~early.rays.scattered[rows]].sum()) / whole
    f = int(np.argmax(np.bincount(early.rays.facet[rows, bounce], weight)))
    return Spot(
        built.loudspeakers[s].name,
        bounce + 1,
        built.room.facets[f].name,
        built.room.facets[f].owner,
        frozen(np.average(early.rays.place[rows, bounce], axis=0, weights=weight)),
        float(level_db(whole)),
        whole / float(early.energy.sum()),
        10.0 * float(np.log10(1.0 + error)),
        float(np.average(early.delay_ms[here], weights=weight)),
        mirrored,
    )
