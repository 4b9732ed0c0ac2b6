"""Which quantities of a scene may be off, and which of them the measured peaks put elsewhere.

Distances of a scene are measured from the front wall, the left wall and the floor, so those stay where they are.  The
seat, the loudspeakers, all other surfaces and the air's temperature may be off, each within its tolerance.  A peak that
a misplaced wall makes may be too far off to get its name, so what explains most peaks is looked for first, one quantity
after the other; then names are given and delays fitted in turn until the names stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.schema import Blueprint
from sim.placement.built_scene import BuiltScene
from sim.responses.records import Arrival, Results
from sim.studies.match.fitted_records import TEMPERATURE_K
from sim.studies.match.fitting import Fit, fit_delays, simplest
from sim.studies.match.lengths import KNOWN, NONE, SEAT, TEMPERATURE, PathLengths
from sim.studies.match.naming import LEVEL_DB, Heard, Predicted, assign, costs, loud_peaks, total_cost

SEAT_M: Final = 0.05
"""Tolerance of the microphone, which stands where an ear would be (common practice, no source)."""
LEAST_TOLERANCE_M: Final = 0.005
"""Nobody reads a tape in a room better (common practice, no source)."""
CLEAR_DB, CLEAR_MS = -22.0, 15.0
"""Peaks that have to fit better before anything is said to be off (our choice)."""
LEAST_PEAKS: Final = 4
"""Fewer named peaks correct nothing."""
SEARCHED: Final = 2.5
"""A quantity is looked for so many tolerances to either side."""
WIDE: Final = (2.5, 1.5, 1.0)
"""By how much the error of a delay is widened, round by round, so that what explains most is found from afar."""
STEPS: Final = 13
MOVE_COST: Final = 2.0
"""By so much a quantity that moves has to lower the squares of misfits of loud and early peaks (Akaike, IEEE Trans.
Autom. Control 19 (1974) 716-723)."""
AT_ZERO_M: Final = 1.0e-6


@printable
@dataclass(frozen=True, slots=True)
class Surface:
    """A surface that may be off: a plane of the room or of a piece of furniture.

    Attributes
    ----------
    name, owner
        Of its largest facet.
    normal, offset_m
        Unit vector toward the air, and normal . x of its points.
    """

    name: str
    owner: str
    normal: FloatArray
    offset_m: float


@printable
@dataclass(frozen=True, slots=True)
class Movable:
    """Reflections of all measured loudspeakers, and how their delays follow what may be off.

    Attributes
    ----------
    predicted
        One for each loudspeaker, as drawn.
    rows
        For each loudspeaker, the row (c,) in `lengths` of each reflection; -1 for one that only follows the seat, such
        as sound round an edge.
    lengths
        Paths over flat surfaces.
    drawn_ms
        (p,) their delays as drawn.
    surfaces
        Those that may be off.
    tolerances
        (q,) standard deviation of each quantity, in m and K.
    """

    predicted: tuple[Predicted, ...]
    rows: tuple[IntArray, ...]
    lengths: PathLengths
    drawn_ms: FloatArray
    surfaces: tuple[Surface, ...]
    tolerances: FloatArray

    def moved(self, off: FloatArray) -> list[Predicted]:
        """Reflections with their delays when quantities are off by `off` (q,)."""
        grown = np.append(self.lengths.delays_ms(off) - self.drawn_ms, 0.0)
        found = []
        for one, rows in zip(self.predicted, self.rows, strict=True):
            late = np.where(rows >= 0, grown[rows], one.gain_ms @ off[list(SEAT)])
            found.append(replace(one, delay_ms=one.delay_ms + late))
        return found


def movable(results: Results, predicted: Sequence[Predicted], numbers: Sequence[int], place: int) -> Movable:
    """Lay out the reflections of some loudspeakers at one listener as functions of what may be off."""
    built = results.built
    deepest = max((one.order for each in predicted for one in each.arrivals), default=1)
    surfaces: dict[int, int] = {}
    paths: list[tuple[FloatArray, int, FloatArray, FloatArray, list[int]]] = []
    rows = []
    for turn, (s, each) in enumerate(zip(numbers, predicted, strict=True)):
        mine = []
        for arrival in each.arrivals:
            facets = _facets(results, arrival)
            mine.append(len(paths) if facets else -1)
            if not facets:
                continue
            normals, offsets = np.zeros((deepest, 3)), np.zeros(deepest)
            touched = [NONE] * deepest
            for k, facet in enumerate(facets):
                normals[k], offsets[k] = built.room.arrays.normal[facet], built.room.arrays.offset[facet]
                plane = int(built.room.arrays.plane[facet])
                touched[k] = KNOWN if _is_datum(built, facet) else surfaces.setdefault(plane, len(surfaces))
            driver = int(results.paths.driver[arrival.main.path])
            paths.append((built.loudspeakers[s].driver_points[driver], turn, normals, offsets, touched))
        rows.append(np.array(mine, dtype=np.int64))
    lengths = PathLengths(
        frozen(np.array(built.ears[place])),
        results.scene.blueprint.air.temperature_c,
        frozen(np.array([one[0] for one in paths]).reshape(-1, 3)),
        frozen(np.array([one[1] for one in paths], dtype=np.int64)),
        frozen(np.array([one[2] for one in paths]).reshape(-1, deepest, 3)),
        frozen(np.array([one[3] for one in paths]).reshape(-1, deepest)),
        frozen(np.array([one[4] for one in paths], dtype=np.int64).reshape(-1, deepest)),
        len(predicted),
        len(surfaces),
    )
    return Movable(
        tuple(predicted),
        tuple(rows),
        lengths,
        frozen(lengths.delays_ms(np.zeros(lengths.quantities))),
        tuple(_surface(built, plane) for plane in surfaces),
        frozen(_tolerances(results.scene.blueprint, lengths)),
    )


def _facets(results: Results, arrival: Arrival) -> list[int]:
    """Facets that a path touches; none for one that is not only mirrored, or by a cabinet, which moves by itself."""
    if arrival.diffracted or any(owner in results.built.boxes for owner in arrival.owners):
        return []
    touched = results.paths.facets[arrival.main.path]
    return [int(one) for one in touched if one >= 0]


def _is_datum(built: BuiltScene, facet: int) -> bool:
    """Whether distances are measured from this facet: front wall, left wall or floor of the room itself."""
    one = built.room.facets[facet]
    upright = one.owner == "room" and abs(one.offset_m) < AT_ZERO_M
    return upright and bool(np.isclose(one.normal.max(), 1.0, atol=AT_ZERO_M))


def _surface(built: BuiltScene, plane: int) -> Surface:
    mine = [one for one in built.room.facets if one.plane == plane]
    largest = max(mine, key=lambda one: one.area_m2)
    return Surface(largest.name, largest.owner, largest.normal, largest.offset_m)


def _tolerances(blueprint: Blueprint, lengths: PathLengths) -> FloatArray:
    tape_m = max(blueprint.method.placement_error, LEAST_TOLERANCE_M)
    known = np.full(lengths.quantities, tape_m)
    known[list(SEAT)] = max(SEAT_M, tape_m)
    known[TEMPERATURE] = TEMPERATURE_K
    return known


def find_off(
    pairs: Sequence[tuple[Heard, Predicted]], moves: Movable, seat_m: FloatArray, error_ms: float
) -> tuple[Fit, IntArray, FloatArray]:
    """How far quantities are off, by the peaks that get a name.

    Parameters
    ----------
    pairs
        Peaks and reflections as drawn, a pair for each loudspeaker.
    moves
        The same reflections, and how they follow what may be off.
    seat_m
        (3,) where the seat would be were nothing else off: one of two places to begin from.
    error_ms
        Standard error of a delay by which names are given.

    Returns
    -------
    The fit, the rows (n,) of the paths it rests on, and their measured delays (n,) in ms.
    """
    heard = [loud_peaks(one) for one, _ in pairs]
    clear = [_clear(one) for one, _ in pairs]
    nothing = np.zeros(moves.lengths.quantities)
    shifted = nothing.copy()
    shifted[list(SEAT)] = seat_m
    settled = [_settled(heard, moves, shifted, error_ms)]
    for start in (nothing, shifted) if np.any(seat_m) else (nothing,):
        off = start
        for wide in WIDE:
            off = _climbed(heard, moves, off, wide * error_ms)
        settled.append(_settled(heard, moves, off, error_ms))

    def price(one: tuple[Fit, IntArray, FloatArray]) -> float:
        few = fewest(moves, one)[0]
        return _price(clear, moves, few, error_ms) + MOVE_COST * np.count_nonzero(few)

    best = min(settled, key=price)
    if price(best) < _price(clear, moves, nothing, error_ms):
        return best
    return _settled(clear, moves, nothing, error_ms)


def _clear(heard: Heard) -> Heard:
    """Peaks that are loud and early: of others a room has so many that some fit whatever is tried."""
    clear = (heard.level_db >= CLEAR_DB) & (heard.time_ms <= CLEAR_MS)
    return Heard(heard.time_ms[clear], heard.level_db[clear])


def _settled(
    heard: Sequence[Heard], moves: Movable, off: FloatArray, error_ms: float
) -> tuple[Fit, IntArray, FloatArray]:
    """Names and fit in turn, until the names stay."""
    rows, measured = _named(heard, moves, off, error_ms)
    fit = _fitted(moves, rows, measured, off)
    for _ in range(4):
        again, measured_again = _named(heard, moves, fit.off, error_ms)
        if np.array_equal(again, rows):
            break
        rows, measured = again, measured_again
        fit = _fitted(moves, rows, measured, fit.off)
    return fit, rows, measured


def _price(heard: Sequence[Heard], moves: Movable, off: FloatArray, error_ms: float) -> float:
    """What it costs that peaks fit no better, or have no name, and that quantities are off."""
    misfit = total_cost(list(zip(heard, moves.moved(off), strict=True)), np.zeros(3), error_ms)
    return misfit + float(np.sum((off / moves.tolerances) ** 2))


def fewest(moves: Movable, settled: tuple[Fit, IntArray, FloatArray]) -> tuple[FloatArray, bool]:
    """How far quantities are off (q,) when as few of them move as explain the delays; and whether enough were named."""
    fit, rows, measured = settled
    if len(rows) < LEAST_PEAKS:
        return np.zeros(moves.lengths.quantities), False
    some = moves.lengths.chosen(rows)
    few = simplest(some.delays_ms, some.slopes, measured, moves.tolerances, _groups(moves, fit), fit)
    return np.array(few.off), True


def _groups(moves: Movable, fit: Fit) -> list[list[int]]:
    """What is taken together: the seat, then every loudspeaker, surface and the air of which the delays tell enough."""
    lengths = moves.lengths
    groups = [[TEMPERATURE]]
    for turn in range(lengths.loudspeakers):
        groups.append(list(range(*lengths.of_loudspeaker(turn).indices(lengths.quantities))))
    groups += [[lengths.of_surface(turn)] for turn in range(lengths.surfaces)]
    return [list(SEAT), *(group for group in groups if any(fit.told[group]))]


def _fitted(moves: Movable, rows: IntArray, measured_ms: FloatArray, start: FloatArray) -> Fit:
    if len(rows) < LEAST_PEAKS:
        rows, measured_ms, start = rows[:0], measured_ms[:0], 0.0 * start
    some = moves.lengths.chosen(rows)
    return fit_delays(some.delays_ms, some.slopes, measured_ms, moves.tolerances, start)


def _named(heard: Sequence[Heard], moves: Movable, off: FloatArray, error_ms: float) -> tuple[IntArray, FloatArray]:
    """Rows (n,) of the paths that get a peak, and what that was measured at (n,), as if they were drawn so."""
    rows: list[int] = []
    measured: list[float] = []
    for peaks, one, drawn, mine in zip(heard, moves.moved(off), moves.predicted, moves.rows, strict=True):
        given = assign(costs(peaks, one, np.zeros(3), error_ms))
        for peak in np.flatnonzero(given >= 0):
            row = int(mine[given[peak]])
            louder = abs(float(peaks.level_db[peak] - drawn.level_db[given[peak]]))
            if row >= 0 and louder <= LEVEL_DB:  # else more than this reflection shapes the peak
                rows.append(row)
                measured.append(float(peaks.time_ms[peak] - drawn.delay_ms[given[peak]] + moves.drawn_ms[row]))
    return np.array(rows, dtype=np.int64), np.array(measured)


def _worth(heard: Sequence[Heard], moves: Movable, off: FloatArray, error_ms: float) -> float:
    """How many peaks are explained when quantities are off so, less what that is unlikely by itself."""
    worth = -0.5 * float(np.sum((off / moves.tolerances) ** 2))
    for peaks, one in zip(heard, moves.moved(off), strict=True):
        if len(peaks.time_ms) and len(one.arrivals):
            worth += float(np.exp(-0.5 * costs(peaks, one, np.zeros(3), error_ms).min(axis=1)).sum())
    return worth


def _climbed(heard: Sequence[Heard], moves: Movable, off: FloatArray, error_ms: float) -> FloatArray:
    """What explains more, each quantity tried over its range while the others stay: surfaces and temperature first."""
    order = [*range(moves.lengths.of_surface(0), len(off)), TEMPERATURE, *SEAT]
    order += list(range(TEMPERATURE + 1, moves.lengths.of_surface(0)))
    best, worth = off.copy(), _worth(heard, moves, off, error_ms)
    for number in order:
        for value in np.linspace(-SEARCHED, SEARCHED, STEPS) * moves.tolerances[number]:
            tried = best.copy()
            tried[number] = value
            here = _worth(heard, moves, tried, error_ms)
            if here > worth:
                best, worth = tried, here
    return best
