"""When one piece of work is the mirror image of another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.propagation.edges.chain_twins import ends_of, is_twin, mirrored_edges, twins
from sim.propagation.edges.chains import ChainWork
from sim.propagation.edges.convex import ConvexBody, prism
from sim.propagation.edges.plates import chain_sums

HERTZ = np.array([200.0, 400.0])
SOURCE, EAR = np.array([-0.3, -0.4, 0.35]), np.array([0.7, 0.0, 0.4])
LEFT_RIGHT = np.array([1.0, -1.0, 1.0])


def plate(middle: float = 0.0) -> ConvexBody:
    corners = np.array([[-0.4, -0.8, 0.0], [0.4, -0.8, 0.0], [0.4, 0.8, 0.0], [-0.4, 0.8, 0.0]])
    return prism(corners + np.array([0.0, middle, 0.0]), 0.03)


def work(body: ConvexBody, source: np.ndarray, ear: np.ndarray = EAR, drive: np.ndarray | None = None) -> ChainWork:
    count = len(body.wedges[4])
    sent = np.ones((count, 17, len(HERTZ)), dtype=np.complex128) if drive is None else drive
    k, weights = 2.0 * np.pi * HERTZ / 343.0, np.ones((3, count))
    sums = tuple(chain_sums(body, source, ear, k, 2, sent, weights))
    heard = np.ones(len(HERTZ), dtype=np.bool_)
    nowhere = np.full((3, 3), np.nan)
    return ChainWork(body, source, ear, HERTZ, heard, HERTZ, None, 2, 9e3, weights, sent, sums, 0, 1.0, nowhere, 343.0)


def test_left_and_right_of_one_plate_are_twins_and_sum_to_the_same() -> None:
    body = plate()
    left, right = work(body, SOURCE), work(body, SOURCE * LEFT_RIGHT)
    assert twins([left, right]) == [0, 0]
    pressures = [np.array([one.pressure() for one in each.sums]) for each in (left, right)]
    np.testing.assert_allclose(pressures[0], pressures[1], atol=1e-4)


def test_two_bodies_that_are_images_of_each_other_are_twins() -> None:
    left, right = work(plate(-0.9), SOURCE), work(plate(0.9), SOURCE * LEFT_RIGHT)
    assert twins([left, right, left, work(plate(0.5), SOURCE)]) == [0, 0, 2, 3]  # a source is no image of itself


def test_whatever_is_not_the_same_makes_no_twins() -> None:
    body = plate()
    left, right = work(body, SOURCE), work(body, SOURCE * LEFT_RIGHT)
    assert is_twin(left, right)
    assert not is_twin(left, work(body, SOURCE * LEFT_RIGHT + np.array([0.0, 1e-4, 0.0])))
    assert not is_twin(left, work(body, SOURCE * LEFT_RIGHT, EAR + np.array([0.0, 1e-4, 0.0])))
    assert not is_twin(left, work(plate(1e-4), SOURCE * LEFT_RIGHT))
    assert not is_twin(left, replace(right, order=3))
    assert not is_twin(left, replace(right, sums=()))
    assert not is_twin(left, replace(right, asked_hz=2.0 * HERTZ))
    low = SOURCE * [1.0, 1.0, 0.0] + [0.0, 0.0, 1e-3]  # level with the plate's top
    assert not is_twin(work(body, low), work(body, low * LEFT_RIGHT))
    weights = right.edge_weights.copy()
    weights[1, 3] = 0.9
    assert not is_twin(left, replace(right, edge_weights=weights))
    drive = right.drive.copy()
    drive[2, 4] += 1e-3
    assert not is_twin(left, replace(right, drive=drive))


def test_edges_are_found_whichever_way_they_run() -> None:
    body = plate()
    found = mirrored_edges(body, ends_of(body) * LEFT_RIGHT)
    assert found is not None
    place, turned = found
    assert sorted(place.tolist()) == list(range(12)) and turned.any() and not turned.all()
    assert mirrored_edges(body, ends_of(body) * [1.0, -1.0, 1.01]) is None
