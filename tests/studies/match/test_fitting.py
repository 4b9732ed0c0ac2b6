"""Least squares with tolerances: do 95 % intervals hold 95 %, are wild delays held down, is what is unknown said so."""

from __future__ import annotations

import numpy as np

from sim.arrays import FloatArray
from sim.studies.match.fitting import FLOOR_MS, Fit, fit_delays, simplest
from sim.studies.match.lengths import KNOWN, NONE, SEAT, TEMPERATURE, PathLengths

NORMALS = np.array([[1.0, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]])
WALL = (KNOWN, 0, KNOWN, 1, KNOWN, 2)
"""Front wall, left wall and floor stay; rear wall, right wall and ceiling may be off."""
NOISE_MS = 0.03


def box(rng: np.random.Generator, walls: tuple[int, ...] = tuple(range(6)), pairs: bool = True) -> PathLengths:
    """Reflections of two points in a box, over each wall and over two at right angles to each other."""
    size = rng.uniform([3.4, 2.9, 2.3], [5.5, 4.5, 3.0])
    offsets = np.array([0.0, -size[0], 0.0, -size[1], 0.0, -size[2]])
    taken = [(w, w) for w in walls] + [(v, w) for v in walls for w in walls if pairs and v // 2 < w // 2]
    normals = np.array([[NORMALS[v], NORMALS[w]] for v, w in taken])
    surface = np.array([[WALL[v], WALL[w] if v != w else NONE] for v, w in taken])
    places = np.array([[offsets[v], offsets[w]] for v, w in taken])
    sources = np.array([[0.6, 0.3 * size[1], 1.2], [0.6, 0.7 * size[1], 1.2]]) + rng.uniform(-0.15, 0.15, (2, 3))
    count = len(taken)
    return PathLengths(
        size * [0.42, 0.5, 0.45] + rng.uniform(-0.15, 0.15, 3),
        20.0,
        np.repeat(sources, count, axis=0),
        np.repeat([0, 1], count),
        np.tile(normals, (2, 1, 1)),
        np.tile(places, (2, 1)),
        np.tile(surface, (2, 1)),
        2,
        3,
    )


def tolerances(paths: PathLengths) -> FloatArray:
    known = np.full(paths.quantities, 0.03)
    known[list(SEAT)], known[TEMPERATURE] = 0.05, 5.0
    return known


def fitted(paths: PathLengths, measured: FloatArray) -> Fit:
    return fit_delays(paths.delays_ms, paths.slopes, measured, tolerances(paths))


def groups(paths: PathLengths) -> list[list[int]]:
    return [[*SEAT], [TEMPERATURE], [4, 5, 6], [7, 8, 9], *([paths.of_surface(k)] for k in range(paths.surfaces))]


def fewest(paths: PathLengths, measured: FloatArray, fit: Fit) -> Fit:
    return simplest(paths.delays_ms, paths.slopes, measured, tolerances(paths), groups(paths), fit)


def test_intervals_of_95_percent_hold_95_percent() -> None:
    """A hundred rooms whose tapes are off by what the tolerances say, delays read with noise."""
    rng = np.random.default_rng(1)
    held, held_by_few, told = [], [], []
    for _ in range(100):
        paths = box(rng)
        truth = rng.normal(size=paths.quantities) * tolerances(paths)
        measured = paths.delays_ms(truth) + rng.normal(size=len(paths.sources)) * NOISE_MS
        fit = fitted(paths, measured)
        held.append(np.abs(fit.off - truth) <= fit.error)
        few = fewest(paths, measured, fit).off
        held_by_few.append(np.abs(few - truth) <= fit.error + np.abs(few - fit.off))  # as is said beside fitted values
        told.append(fit.told)
    assert 0.9 <= np.mean(held) <= 0.99
    assert 0.9 <= np.mean(np.array(held)[:, list(SEAT)]) <= 0.99
    assert 0.9 <= np.mean(np.array(held)[:, TEMPERATURE]) <= 0.99
    assert np.mean(held_by_few) >= 0.95
    assert np.mean(np.array(told)[:, list(SEAT)]) > 0.9


def test_a_seat_5_cm_off_is_found_within_1_cm_where_three_walls_are_heard() -> None:
    """Front wall, a side wall and the floor, the rest as given, peaks read to a hundredth of a millisecond."""
    for walls, share in (((0, 2, 4), 0.75), ((0, 2, 3, 4), 0.95), (tuple(range(6)), 1.0)):
        rng = np.random.default_rng(2)
        off = []
        for _ in range(40):
            paths = box(rng, walls)
            shift = rng.normal(size=3)
            truth = np.zeros(paths.quantities)
            truth[list(SEAT)] = 0.05 * shift / np.linalg.norm(shift)
            measured = paths.delays_ms(truth) + rng.normal(size=len(paths.sources)) * 0.01
            few = fewest(paths, measured, fitted(paths, measured))
            off.append(float(np.linalg.norm(few.off[list(SEAT)] - truth[list(SEAT)])))
        assert np.mean(np.array(off) < 0.01) >= share
        assert max(off) < 0.025


def test_one_wrong_tape_is_found_as_one() -> None:
    """A wall, the air or a loudspeaker alone: nothing else moves."""
    rng = np.random.default_rng(6)
    for number, off in ((TEMPERATURE, 8.0), (4, 0.04), (10, 0.04), (11, -0.04), (12, 0.04)):
        paths = box(rng)
        truth = np.zeros(paths.quantities)
        truth[number] = off
        measured = paths.delays_ms(truth) + rng.normal(size=len(paths.sources)) * 0.015
        few = fewest(paths, measured, fitted(paths, measured))
        assert few.told[number] and few.told.sum() in (1, 3)
        assert abs(few.off[number] - off) < 0.15 * abs(off)


def test_a_wild_delay_is_held_down() -> None:
    rng = np.random.default_rng(3)
    paths = box(rng)
    truth = np.zeros(paths.quantities)
    truth[0] = 0.04
    measured = paths.delays_ms(truth) + rng.normal(size=len(paths.sources)) * 0.01
    good = fitted(paths, measured)
    measured[7] += 0.3  # a wrong name: ten centimetres of path
    wild = fitted(paths, measured)
    assert wild.weights[7] < 0.5 and np.median(wild.weights) == 1.0
    assert np.abs(wild.off[:3] - good.off[:3]).max() < 0.01


def test_nothing_measured_leaves_what_was_known() -> None:
    paths = box(np.random.default_rng(4))
    none = paths.chosen(np.zeros(0, dtype=np.int64))
    fit = fit_delays(none.delays_ms, none.slopes, np.zeros(0), tolerances(paths))
    assert not fit.told.any() and np.array_equal(fit.off, np.zeros(paths.quantities))
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), tolerances(paths))
    assert fit.delay_error_ms == FLOOR_MS


def test_seat_and_rear_wall_are_only_told_together_by_the_rear_wall_alone() -> None:
    """The delay over the rear wall holds only how far the ear is from it."""
    rng = np.random.default_rng(5)
    paths = box(rng, walls=(1,), pairs=False)
    truth = np.zeros(paths.quantities)
    wall = paths.of_surface(0)
    truth[0], truth[wall] = -0.02, -0.03  # the ear nearer to the front wall, the rear wall further back
    fit = fitted(paths, paths.delays_ms(truth))
    alone = np.sqrt(fit.covariance[0, 0]), np.sqrt(fit.covariance[wall, wall])
    sum_of_both = np.sqrt(fit.covariance[0, 0] + fit.covariance[wall, wall] + 2.0 * fit.covariance[0, wall])
    assert sum_of_both < min(alone) and not fit.told[wall]
    assert abs((fit.off[0] + fit.off[wall]) - (truth[0] + truth[wall])) < 0.01
