"""Sums over the cells of panels against plain sums: over all pairs of cells, and cell by cell."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.propagation.surfaces.coupling import CANCELLED, COUPLED_CELLS_A_WAVELENGTH, FEWEST_CELLS, coupling_at
from sim.propagation.surfaces.incidence import Incidences
from sim.propagation.surfaces.patch_kernels import delays_of_cells, turn_delays
from sim.propagation.surfaces.patches import PatchViews, patch_fractions, patch_views
from tests.propagation.surfaces.slow_patch import green


def random_views(rng: np.random.Generator, many: int, lengths: np.ndarray) -> PatchViews:
    """Paths from anywhere to anywhere on one side of a rectangle."""
    nothing = np.zeros(many)
    ends = [rng.uniform([-1.5, -1.5, 0.3], [1.5, 1.5, 2.0], (many, 3)) for _ in range(2)]
    whole = np.linalg.norm(ends[0] * [1.0, 1.0, -1.0] - ends[1], axis=1)
    cosine = (ends[0][:, 2] + ends[1][:, 2]) / whole
    return PatchViews(lengths, ends[0], ends[1], whole, cosine, nothing, np.zeros((many, 4, 2)))


def coupled_slowly(views: PatchViews, wavenumber: float) -> np.ndarray:
    """Coupling (m,) by sums over all pairs of cells."""
    counts = np.ceil(views.lengths_m * wavenumber * COUPLED_CELLS_A_WAVELENGTH / (2.0 * np.pi)).astype(int)
    counts = np.maximum(counts, FEWEST_CELLS)
    axes = [(np.arange(n) + 0.5) / n * side - 0.5 * side for n, side in zip(counts, views.lengths_m, strict=True)]
    middles = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
    table = green(middles, views.lengths_m / counts, wavenumber)
    found = []
    for source, ear, cosine in zip(views.source, views.ear, views.cosine, strict=True):
        far = [
            np.linalg.norm(np.column_stack([middles, np.zeros(len(middles))]) - end, axis=1) for end in (source, ear)
        ]
        u, v = (np.exp(-1j * wavenumber * one) / one for one in far)
        plain, size = (u * v).sum(), (np.abs(u) * np.abs(v)).sum()
        own = [(one.conj() @ table @ one) / (np.abs(one) ** 2).sum() for one in (u, v)]
        limit = (CANCELLED * size) ** 2
        ratio = (v @ table @ u * plain.conj() / limit + np.mean(own)) / (np.abs(plain) ** 2 / limit + 1.0)
        found.append(2j * wavenumber * cosine * ratio)
    return np.array(found)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 19), st.floats(0.2, 0.9), st.floats(0.2, 0.9), st.floats(50.0, 1500.0))
def test_coupling_is_the_sum_over_all_pairs_of_cells(
    seed: int, many: int, one: float, other: float, frequency_hz: float
) -> None:
    views = random_views(np.random.default_rng(seed), many, np.array([one, other]))
    wavenumbers = 2.0 * np.pi / 343.0 * np.array([frequency_hz, 1.3 * frequency_hz])
    slow = np.column_stack([coupled_slowly(views, float(k)) for k in wavenumbers])
    assert coupling_at(views, wavenumbers) == pytest.approx(slow, abs=1e-11)


def test_coupling_of_a_path_does_not_depend_on_the_others() -> None:
    views = random_views(np.random.default_rng(4), 19, np.array([0.6, 1.2]))
    together, wavenumbers = coupling_at(views, np.array([3.0, 20.0])), np.array([3.0, 20.0])
    for row in range(len(views)):
        assert (coupling_at(views.chosen(slice(row, row + 1)), wavenumbers)[0] == together[row]).all()


def delayed_slowly(views: PatchViews, cells: tuple[int, int], step: float, wavenumbers: np.ndarray) -> np.ndarray:
    """Sum over cells of e^{-jk n step}/(r_s r_e), each cell shared between two multiples n of `step`."""
    weight = views.lengths_m.prod() / (cells[0] * cells[1])
    total = np.zeros((len(views), len(wavenumbers)), dtype=np.complex128)
    for row in range(len(views)):
        for i in range(cells[0]):
            for j in range(cells[1]):
                place = np.array([(i + 0.5) / cells[0] - 0.5, (j + 0.5) / cells[1] - 0.5, 0.0])
                place[:2] *= views.lengths_m
                near, far = (np.linalg.norm(place - end[row]) for end in (views.source, views.ear))
                delay = max(near + far - views.whole_m[row], 0.0) / step
                low, share = np.floor(delay), weight / (near * far)
                total[row] += share * (1.0 - (delay - low)) * np.exp(-1j * wavenumbers * low * step)
                total[row] += share * (delay - low) * np.exp(-1j * wavenumbers * (low + 1.0) * step)
    half = 0.5 * wavenumbers * step
    return total / np.sinc(half / np.pi) ** 2


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 4), st.integers(2, 9), st.integers(2, 9))
def test_delays_are_those_of_the_cells(seed: int, many: int, first: int, second: int) -> None:
    rng = np.random.default_rng(seed)
    views, step = random_views(rng, many, rng.uniform(0.2, 1.5, 2)), 0.02
    wavenumbers = np.sort(rng.uniform(0.01, 100.0, 5))
    cells = np.array([first, second], dtype=np.int64)
    shares, counts = delays_of_cells(views.lengths_m, views.source, views.ear, views.whole_m, cells, step)
    joined = np.concatenate([share[:count] for share, count in zip(shares, counts, strict=True)])
    sums = turn_delays(joined, np.concatenate([[0], np.cumsum(counts)]), step, wavenumbers)
    assert sums == pytest.approx(delayed_slowly(views, (first, second), step, wavenumbers), abs=1e-11)


def test_panels_of_one_size_in_one_go_are_those_one_by_one() -> None:
    """On three walls, met at any angle, also straight on."""
    rng = np.random.default_rng(9)
    flat = np.array([[0.0, 0.0, 0.0], [1.2, 0.0, 0.0], [1.2, 0.6, 0.0], [0.0, 0.6, 0.0]])
    turns = [np.eye(3)[order] for order in ([0, 1, 2], [1, 2, 0], [2, 0, 1])]
    corners = np.array([flat @ turn + rng.normal(size=3) for turn in turns])
    normals = np.array([np.array([0.0, 0.0, 1.0]) @ turn for turn in turns])
    points = corners.mean(axis=1) + 0.1
    points -= ((points - corners[:, 0]) * normals).sum(axis=1)[:, None] * normals
    ways = -normals + np.array([[0.0, 0.0, 0.0], [0.3, 0.5, 0.2], [-0.4, 0.1, 0.3]])
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    rows = np.arange(3)
    met = Incidences(
        rows, rows, points, ways, np.abs((ways * normals).sum(axis=1)), np.array([1.0, 1.4, 2.0]), np.full(3, 1.5)
    )
    frequencies = np.geomspace(60.0, 8000.0, 24)
    together = patch_fractions(patch_views(corners, normals, met), frequencies, 343.0)
    for row in range(3):
        alone = patch_views(corners[row], normals[row], met.chosen(slice(row, row + 1)))
        assert together[row] == pytest.approx(patch_fractions(alone, frequencies, 343.0)[0], abs=1e-12)
