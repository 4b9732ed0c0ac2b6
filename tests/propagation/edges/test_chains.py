"""Chains at fewer frequencies, and those that are mirror images of others: against sums at all, each on its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.machine.processes import one_blas_thread
from sim.pipeline import build
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges import chains, tracing
from sim.propagation.edges.chains import chain_work, diagonal_m, fewer_samples
from sim.propagation.edges.diffracting import diffracting
from sim.propagation.edges.tracing import edge_frequencies, trace_edges

SCENES = Path(__file__).resolve().parents[3] / "scenes"


@pytest.fixture(scope="module")
def built() -> BuiltScene:
    """A desk and a screen, two loudspeakers of a cabinet each, the ear between them, alike on both sides."""
    return build(SCENES / "bedroom-on-desk")[1]


def chained(built: BuiltScene, changes: dict[str, Any], monkeypatch: pytest.MonkeyPatch) -> tuple[Any, float]:
    with monkeypatch.context() as patched, one_blas_thread():
        for name, value in changes.items():
            module = chains if hasattr(chains, name) else tracing
            patched.setattr(module, name, value)
        table = trace_edges(built, 1)
    rows = np.flatnonzero(table.edge < 0)
    direct = min(
        float(np.linalg.norm(point - built.ears[0])) for one in built.loudspeakers for point in one.driver_points
    )
    return table.chosen(rows), direct


def test_fewer_frequencies_are_within_two_ten_thousandths_of_the_direct_sound(
    built: BuiltScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The very same sums at every frequency of the grid; their own error is some ten times as large."""
    alone = {"twins": lambda works: list(range(len(works)))}
    every, direct = chained(built, {"fewer_samples": lambda hertz, _: (hertz, None), **alone}, monkeypatch)
    fewer, _ = chained(built, alone, monkeypatch)
    assert len(every) == len(fewer) > 2
    assert 1e-12 < np.abs(fewer.gains - every.gains).max() * direct < 2e-4


def test_a_mirror_image_is_summed_once_and_differs_by_the_error_of_the_sums(
    built: BuiltScene, monkeypatch: pytest.MonkeyPatch
) -> None:
    own, direct = chained(built, {"twins": lambda works: list(range(len(works)))}, monkeypatch)
    shared, _ = chained(built, {}, monkeypatch)
    assert np.abs(shared.gains - own.gains).max() * direct < 2e-4
    left, right = (np.flatnonzero((shared.loudspeaker == s) & (shared.owner == shared.owner[0])) for s in (0, 1))
    assert len(left) == len(right) > 0
    for a, b in zip(left, right, strict=True):
        np.testing.assert_allclose(shared.gains[a], shared.gains[b], rtol=1e-9, atol=1e-12)


def test_fewer_frequencies_lead_back_to_any_smooth_curve() -> None:
    grid = edge_frequencies()
    asked, weights = fewer_samples(grid, 19.0)
    assert weights is not None and len(asked) < 0.75 * len(grid)
    late = np.exp(-2j * np.pi * asked * 2.5e-3) / (1.0 + (asked / 300.0) ** 2)
    wanted = np.exp(-2j * np.pi * grid * 2.5e-3) / (1.0 + (grid / 300.0) ** 2)
    assert np.abs(late @ weights - wanted).max() < 2e-5
    assert np.abs(late @ weights - wanted)[grid > 5600.0].max() == 0.0  # taken over as they are


@pytest.mark.parametrize("grid", [np.array([50.0]), np.array([100.0, 200.0, 5000.0]), np.geomspace(20.0, 30.0, 9)])
def test_few_frequencies_stay_as_they_are(grid: np.ndarray) -> None:
    asked, weights = fewer_samples(grid, 40.0)
    assert weights is None and asked is grid


def test_no_chain_where_both_ends_lie_in_one_plane_or_nothing_is_seen(built: BuiltScene) -> None:
    things = diffracting(built)
    owner = next(iter(things.bodies))
    work = chain_work(built, (0, 0, 0), owner, ((), ()), things, edge_frequencies())
    assert work.sums and diagonal_m(work.body) > 0.0
    assert work.gain([one.pressure() for one in work.sums]).any()
