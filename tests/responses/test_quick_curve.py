"""The curve of a page that follows a hand, against the sum of every path at every frequency."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.machine.processes import one_blas_thread
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.finite_facets import BESIDE_M
from sim.responses.curve_kernels import add_waves
from sim.responses.frequency import LATEST, ear_response, response_frequencies
from sim.responses.quick_curve import ear_curve, edge_curve
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

EAR = (2.6, 2.0, 1.2)


@pytest.fixture(scope="module")
def built() -> BuiltScene:
    places = ((1.2, "left"), (2.7, "right"))
    pair = [loudspeaker((1.0, y, 1.1), name, model="two-way", tilt_deg="ear") for y, name in places]
    things = [desk((1.3, 2.0), (1.1, 2.8), 0.74), block((1.5, 1.6), (1.6, 2.2), (0.8, 1.15), name="screen")]
    return built_scene_of(box(5.0, 4.0, 2.6, "plaster"), pair, EAR, furniture=things)


@pytest.fixture(scope="module")
def tables(built: BuiltScene) -> tuple[PathTable, EdgePathTable]:
    with one_blas_thread():
        return trace_paths(built, 3, beside_m=BESIDE_M), trace_edges(built, 3, depth="mirrored")


@pytest.mark.parametrize("window_ms", [60.0, 8.0])
def test_third_octaves_are_those_of_the_whole_sum(
    built: BuiltScene, tables: tuple[PathTable, EdgePathTable], window_ms: float
) -> None:
    """Third-octaves 0.02 dB rms, 0.1 at most; the curve itself 30 dB and more under the direct sound."""
    with one_blas_thread():
        paths, edges = tables
        slow = ear_response(built, paths, edges, replace(LATEST, window_ms=window_ms))
        quick = ear_curve(built, paths, edge_curve(built, edges, window_ms), window_ms)
    np.testing.assert_array_equal(quick.frequencies_hz, slow.frequencies_hz)
    off_db = quick.third_octaves_db() - slow.levels.whole_db[:, :, 0]
    assert 0.0 < np.sqrt(np.mean(off_db**2)) < 0.02
    assert np.abs(off_db).max() < 0.1
    heard = (quick.frequencies_hz > 100.0) & (quick.frequencies_hz < 16_000.0)
    for mine, theirs in ((quick.total, slow.total), (quick.direct, slow.direct)):
        size = np.mean(np.abs(slow.direct[..., heard]) ** 2)
        assert np.mean(np.abs(mine - theirs)[..., heard] ** 2) < 1e-3 * size


def test_what_is_hidden_is_in_the_direct_sound_alone() -> None:
    wall = block((1.8, 1.9), (0.0, 4.0), (0.0, 2.6), name="partition")
    built = built_scene_of(box(5.0, 4.0, 2.6, "plaster"), [(1.0, 1.2, 1.1)], EAR, furniture=[wall])
    curve = ear_curve(built, trace_paths(built, 1))
    assert np.abs(curve.direct).min() > 0.1
    assert not curve.total.any()


def test_waves_are_added_as_one_adds_them_by_hand() -> None:
    rng = np.random.default_rng(3)
    wavenumbers = np.arange(1600) * 0.21
    gains = rng.normal(size=(9, 12)) + 1j * rng.normal(size=(9, 12))
    lengths, group = rng.uniform(-1.0, 25.0, 9), rng.integers(0, 3, 9)
    first, parts = rng.integers(0, 9, 1600), rng.normal(size=(1600, 4))
    total = np.zeros((3, 2, 1600))
    add_waves(total, group, gains, lengths, first, parts, wavenumbers)
    expected = np.zeros((3, 1600), complex)
    for i in range(9):
        between = sum(parts[:, n] * gains[i, first + n] for n in range(4))
        expected[group[i]] += between * np.exp(-1j * wavenumbers * lengths[i])
    np.testing.assert_allclose(total[:, 0] + 1j * total[:, 1], expected, atol=1e-10)


def test_frequencies_are_even() -> None:
    """What `add_waves` is given."""
    steps = np.diff(response_frequencies())
    assert np.ptp(steps) < 1e-9
