from __future__ import annotations

import numpy as np
import pytest
from scipy.special import eval_legendre, spherical_jn, spherical_yn

from tests.builders.plate_bem import PLATES, plate_eighth, references, solve, sphere_eighth


def sphere_series(radius: float, source: np.ndarray, ear: np.ndarray, k: float) -> complex:
    """Rigid sphere, point source: total over direct (Bowman, Senior & Uslenghi, 1969, chapter 10; e^{+j omega t})."""
    r_s, r_e = np.linalg.norm(source), np.linalg.norm(ear)
    n = np.arange(40)
    slope = spherical_jn(n, k * radius, True)
    slope_out = slope - 1j * spherical_yn(n, k * radius, True)
    out = [spherical_jn(n, k * r) - 1j * spherical_yn(n, k * r) for r in (r_s, r_e)]
    terms = (2 * n + 1) * -slope / slope_out * out[0] * out[1] * eval_legendre(n, source @ ear / r_s / r_e)
    way = np.linalg.norm(source - ear)
    return complex(1.0 - 1j * k * terms.sum() * way * np.exp(1j * k * way))


@pytest.mark.parametrize("k", [2.0, 6.0])
def test_the_solver_agrees_with_the_rigid_sphere_and_gains_by_the_square_of_the_mesh(k: float) -> None:
    sources = np.array([[0.9, 0.2, 0.3], [-0.9, 0.2, 0.4]])
    ears = np.array([[0.2, 1.1, -0.4], [0.8, -0.3, 0.1]])
    exact = np.array([sphere_series(0.3, s, e, k) for s, e in zip(sources, ears, strict=True)])
    off = [np.abs(solve(sphere_eighth(0.3, n), sources, ears, k) - exact).max() for n in (6, 12)]
    assert off[1] < 0.003
    assert 3.0 < off[0] / off[1] < 5.0


def test_panels_cover_the_plate() -> None:
    panels = plate_eighth((0.75, 1.6, 0.03), 0.03)
    sides = np.cross(panels[:, 1] - panels[:, 0], panels[:, 3] - panels[:, 0])
    assert 8.0 * np.linalg.norm(sides, axis=1).sum() == pytest.approx(2.0 * (0.75 * 1.6 + 0.75 * 0.03 + 1.6 * 0.03))
    assert (np.einsum("nx,nx->n", sides, panels.mean(axis=1)) > 0.0).all()


def test_saved_values_have_converged() -> None:
    """Where the total is above -15 dB; the extrapolated values are then another few times nearer."""
    off = {True: [], False: []}
    for r in references():
        loud = np.abs(r.total) > 10.0 ** (-15.0 / 20.0)
        off["shadow" in r.label].append(20.0 * np.log10(np.abs(r.fine / r.total))[loud])
    assert np.sqrt(np.mean(np.concatenate(off[False]) ** 2)) < 0.1
    assert np.sqrt(np.mean(np.concatenate(off[True]) ** 2)) < 0.4


def test_saved_values_are_those_of_the_plates_in_the_program() -> None:
    assert [(r.plate, r.label) for r in references()] == [(n, label) for n, p in PLATES.items() for label in p["pairs"]]
