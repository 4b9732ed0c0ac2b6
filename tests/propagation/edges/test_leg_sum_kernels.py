"""Nodes of legs, eight at a time, against the same one by one with NumPy's own functions."""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest

from sim.propagation.edges.convex import ConvexBody, prism
from sim.propagation.edges.edge_kernels import node_capacity
from sim.propagation.edges.leg_sum_kernels import gather, grazing_terms, legs_of, new_store, weigh_second
from tests.propagation.slow_edges import about, beta

PLATE = prism(np.array([[0.0, 0.0, 0.0], [0.7, 0.05, 0.0], [0.65, 0.5, 0.0], [0.02, 0.4, 0.0]]), 0.03)
ENDS = [np.array([-0.4, 0.2, 0.35]), np.array([1.1, 0.7, 0.02]), np.array([0.3, 0.2, -0.5]), np.array([0.3, -0.4, 0.0])]
K_MOST = 90.0


@nb.njit
def gathered(node, e, place, wedges, edge_legs, end, k_most, turn, leasts, goes_on):  # type: ignore[no-untyped-def]
    room = 0
    for other in range(wedges[4].shape[0]):
        room += node_capacity(wedges[4][other], k_most)
    found = new_store(2 * room)
    known, every = legs_of(end, wedges, edge_legs), np.ones(len(edge_legs))
    beyond = (turn, leasts, np.pi / wedges[5][e], goes_on)
    return found, gather(node, e, place, wedges, edge_legs, known, every, k_most, beyond, found)


def gathered_from(end: np.ndarray, e: int, place: float, turn: float = 0.0, least: float | None = None) -> tuple:
    """Legs from an end to a place on an edge; with `least`, finer about the peak of what lies beyond it."""
    node = PLATE.wedges[0][e] + place * PLATE.wedges[1][e]
    goes_on = np.full(len(PLATE.edge_legs), 0.0 if least is None else 1.0)
    leasts = np.full(2, least or 1.0)
    return gathered(node, e, place, PLATE.wedges, PLATE.edge_legs, end, K_MOST, turn, leasts, goes_on)


@nb.njit
def weighed(count, found, edge_legs, chosen, terms, leg):  # type: ignore[no-untyped-def]
    seconds = np.empty(count)
    weigh_second(seconds, count, found, edge_legs, chosen, terms, leg)
    return seconds


@nb.njit
def terms_of(nu, angle, end_angle):  # type: ignore[no-untyped-def]
    terms = np.empty((2, 4))
    return terms, grazing_terms(nu, angle, end_angle, 0, terms[0]), grazing_terms(nu, angle, end_angle, 1, terms[1])


def wedge(body: ConvexBody, e: int) -> tuple:
    return tuple(part[e] for part in body.wedges)


def eta(r_s: float, z_s: float, r_e: np.ndarray, z_e: np.ndarray, z: np.ndarray) -> np.ndarray:
    return np.arcsinh((z - z_s) / r_s) + np.arcsinh((z - z_e) / r_e)


@pytest.mark.parametrize("end", ENDS)
@pytest.mark.parametrize("e", [0, 3, 7])
def test_legs_are_those_worked_out_one_by_one(end: np.ndarray, e: int) -> None:
    mine = wedge(PLATE, e)
    place = 0.37 * mine[4]
    node = mine[0] + place * mine[1]
    found, count = gathered_from(end, e, place)
    which, far, directions, amplitudes, lengths = (column[:count] for column in found)
    seeing = 0
    for h, (start, stop, shared, _) in enumerate(PLATE.edge_legs):
        rows = np.flatnonzero(which == h)
        other = wedge(PLATE, start)
        (r_s, angle_s, z_s), (r_e, _, z_e) = about(end, other), about(node, other)
        if stop != e or angle_s > other[5]:
            assert rows.size == 0
            continue
        seeing += 1
        nu, z = np.pi / other[5], far[rows]
        assert rows.size % 8 == 0 and (np.diff(z) > 0.0).all() and z[0] > 0.0 and z[-1] < other[4]
        m, away = np.hypot(r_s, z - z_s), np.hypot(r_e, z - z_e)
        np.testing.assert_allclose(lengths[rows], m + away, rtol=1e-13)
        terms = beta(nu, eta(r_s, z_s, r_e, z_e, z), angle_s, other[5] if shared == 1 else 0.0)
        weights = amplitudes[rows] * (m * away) / (-nu / (8.0 * np.pi) * terms)
        assert weights.sum() == pytest.approx(other[4], rel=1e-4)  # what is left are the weights of the places
        points = other[0] + z[:, None] * other[1]
        _, _, along = about(points.T[:, 0], mine)
        for n, point in enumerate(points):
            beside, _, along = about(point, mine)
            assert directions[rows][n] == pytest.approx(np.arcsinh((place - along) / beside), abs=1e-12)
    assert (seeing > 0) == (count > 0)


@pytest.mark.parametrize("ear", ENDS)
def test_second_edges_weigh_what_the_wedge_says(ear: np.ndarray) -> None:
    e, end = 2, ENDS[0]
    mine = wedge(PLATE, e)
    place = 0.6 * mine[4]
    found, count = gathered_from(end, e, place)
    r_e, angle_e, z_e = about(ear, mine)
    if angle_e > mine[5]:
        return
    nu, turn = np.pi / mine[5], np.arcsinh((place - z_e) / r_e)
    chosen = np.linspace(-1.0, 1.0, len(PLATE.edge_legs))
    terms, *least = terms_of(nu, mine[5], angle_e)
    seconds = weighed(count, found, PLATE.edge_legs, chosen, terms, (nu, turn, 0.7))
    assert count > 0
    for i in range(count):
        face = PLATE.edge_legs[found[0][i], 3]
        value = beta(nu, np.array(found[2][i] + turn), angle_e, mine[5] * face)
        assert seconds[i] == pytest.approx(0.7 * chosen[found[0][i]] * found[3][i] * value, rel=1e-10)
    for face in range(2):
        phases = [np.pi + a * angle_e + b * mine[5] * face for a in (1, -1) for b in (1, -1)]
        assert least[face] == pytest.approx(np.abs(np.sin(0.5 * nu * np.array(phases))).min(), rel=1e-12)


@pytest.mark.parametrize("turn", [-0.9, 0.0, 0.4])
def test_legs_are_finer_where_they_are_in_line_with_what_lies_beyond_the_node(turn: float) -> None:
    """Places and weights still make up each edge; the gap between places about the peak is less than its half-width."""
    e, place, least = 0, 0.3, 1.0e-4
    plain, finer = gathered_from(ENDS[0], e, place), gathered_from(ENDS[0], e, place, turn, least)
    peaks = 0
    for h, (start, stop, _, _) in enumerate(PLATE.edge_legs):
        if stop != e:
            continue
        (_, far, there, *_), (_, far_plain, plainly, *_) = (
            tuple(column[:count][found[0][:count] == h] for column in found) for found, count in (finer, plain)
        )
        if not len(far):
            assert not len(far_plain)
            continue
        assert (np.diff(far) > 0.0).all() and far[0] > 0.0 and far[-1] < PLATE.wedges[4][start]
        if (there + turn).min() < -0.01 and (there + turn).max() > 0.01:
            peaks += 1
            near = np.sort(np.abs(there + turn))
            assert near[0] < 2.0 * least / (2.0 / 3.0) and len(far) > len(far_plain)
            assert np.abs(plainly + turn).min() > near[0]
    assert peaks > 0
