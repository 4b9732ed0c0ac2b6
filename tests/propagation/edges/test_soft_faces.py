"""Soft faces beside an edge: which term gets which factor, no jump on a soft desk, and source and ear exchangeable."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.edge_kernels import edge_parts, edge_pressure
from sim.propagation.edges.single import bare_edges, edge_gains
from sim.propagation.edges.soft_faces import face_weights, weighted
from sim.propagation.edges.table import edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.edges.wedges import stacked, wedge_of
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import surface_factors
from sim.responses.frequency import ear_response
from tests.built_scenes import HARD, OPEN, box, built_scene_of, desk
from tests.propagation.edges.test_edge_kernels import omni, place
from tests.propagation.edges.test_edge_kernels import wedge_of as some_wedge
from tests.propagation.slow_edges import edge_beside_soft_faces

SOURCE, EAR = (9.8, 9.5, 11.05), (11.05, 10.1, 11.2)
FREQUENCIES = np.geomspace(100.0, 2800.0, 60)
SOFT = {"layers": [{"porous": 0.02, "flow_resistivity": 12000.0}, {"gap": 0.03}]}
HALF = {"absorption": [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8], "source": "made up for a test"}


def dead_room(*furniture: dict[str, Any], source: Any = SOURCE, ear: Any = EAR, **materials: Any) -> BuiltScene:
    reported = {
        "hard": {"absorption": HARD, "source": "made up for a test"},
        "open": {"absorption": OPEN, "source": "made up for a test"},
        **materials,
    }
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], ear, furniture=list(furniture), materials=reported)


def soft_desk(depth: tuple[float, float], source: Any = SOURCE, ear: Any = EAR, finish: Any = SOFT) -> BuiltScene:
    return dead_room(desk(depth, (9.2, 10.8), 10.74, material="soft"), source=source, ear=ear, soft=finish)


def weights_at(built: BuiltScene, source: np.ndarray, ear: np.ndarray, edges: np.ndarray) -> np.ndarray:
    wedges = stacked([wedge_of(built.room, int(e)) for e in edges])
    return face_weights(built, built.room.edges.facets[edges], wedges, source, ear, FREQUENCIES)


@given(st.integers(0, 2**32 - 1), st.sampled_from([1.5, 2.0, 1.2]))
def test_the_three_parts_are_the_four_terms_as_printed(seed: int, turns: float) -> None:
    """Each part by itself and the rigid sum, so that no term can be in the wrong one."""
    rng = np.random.default_rng(seed)
    wedge = some_wedge(rng, 1.3, turns * np.pi)
    angles = rng.uniform(0.05, 0.95, 2) * wedge[5]
    source, ear = (place(wedge, rng.uniform(0.3, 2.0), a, rng.uniform(-0.5, 1.5)) for a in angles)
    k = rng.uniform(1.0, 60.0)
    parts = edge_parts(source, ear, wedge, 0.0, 1.3, np.array([k]), omni(1))[:, 0]
    for first, last in ((1.0, 1.0), (0.3 - 0.4j, -0.5 + 0.2j)):
        slow = edge_beside_soft_faces(source, ear, wedge, k, first, last)
        assert abs(parts[0] + first * parts[1] + last * parts[2] - slow) < 2e-4
    rigid = edge_pressure(source, ear, wedge, 0.0, 1.3, np.array([k]), omni(1))[0]
    assert parts.sum() == pytest.approx(rigid, abs=1e-12)


@given(st.integers(0, 2**32 - 1), st.floats(-8.0, -2.0), st.sampled_from([0, 1]))
def test_across_a_mirror_border_the_part_of_that_face_makes_up_for_the_mirror(seed: int, off: float, side: int) -> None:
    """Face 0 at a sum of angles of half a turn, face n at twice the air less that; the other two parts are steady."""
    rng = np.random.default_rng(seed)
    wedge = some_wedge(rng, 4.0, 1.5 * np.pi)
    theta = rng.uniform(0.2, 0.4) * np.pi
    k, steps = np.array([0.0, 5.0, 40.0]), []
    for sign in (-1.0, 1.0):
        angles = (theta, np.pi - theta + sign * 10.0**off)
        angles = angles if side == 0 else tuple(wedge[5] - a for a in angles)
        source, ear = place(wedge, 1.0, angles[0], 1.7), place(wedge, 1.0, angles[1], 2.1)
        steps.append(edge_parts(source, ear, wedge, 0.0, 4.0, k, omni(3)))
    whole = np.exp(-1j * k * np.hypot(2.0, 0.4)) / np.hypot(2.0, 0.4)
    jump = steps[1] - steps[0]
    assert jump[1 + side] == pytest.approx(whole, abs=8.0 * 10.0**off + 1e-6)
    assert np.abs(np.delete(jump, 1 + side, axis=0)).max() < 8.0 * 10.0**off + 1e-6


@pytest.mark.parametrize("theta", [0.0, 1.5 * np.pi])
def test_a_source_on_a_face_has_its_mirror_in_that_face(theta: float) -> None:
    """On face 0 its mirror term is half of what the terms of shadow are, on face n face n's; nothing is lost."""
    rng = np.random.default_rng(4)
    wedge = some_wedge(rng, 1.0, 1.5 * np.pi)
    source, ear = place(wedge, 0.7, theta, 0.3), place(wedge, 0.9, 2.0, 0.8)
    k = np.array([3.0, 30.0])
    parts = edge_parts(source, ear, wedge, 0.0, 1.0, k, omni(2))
    assert parts[1] + parts[2] == pytest.approx(parts[0], abs=1e-9)
    near = edge_parts(source + 1e-7 * wedge[3] * (theta == 0.0), ear, wedge, 0.0, 1.0, k, omni(2))
    assert near == pytest.approx(parts, abs=1e-5)


def test_rigid_faces_leave_the_sum_as_it_was() -> None:
    built = soft_desk((10.0, 10.75), finish={"absorption": HARD, "source": "made up for a test"})
    found = edge_gains(built.room, np.array(SOURCE), np.array(EAR), -2, FREQUENCIES, 343.0)
    weights = weights_at(built, np.array(SOURCE), np.array(EAR), found.edges)
    assert weights == pytest.approx(np.ones_like(weights), abs=0.0)
    assert weighted(found.parts, weights) == pytest.approx(found.gains, abs=1e-14)


@pytest.mark.parametrize("finish", [SOFT, HALF])
def test_on_the_mirror_border_the_weight_is_the_factor_of_the_mirrored_path(finish: Any) -> None:
    drop, rise = SOURCE[2] - 10.74, EAR[2] - 10.74
    mirror = SOURCE[0] + (EAR[0] - SOURCE[0]) * drop / (drop + rise)
    built = soft_desk((10.0, mirror + 1e-7), finish=finish)
    paths = trace_paths(built, 1)
    top = built.room.facet_numbers("desk top")[0]
    (row,) = np.flatnonzero(paths.facets[:, 0] == top)
    factor = surface_factors(built, paths, FREQUENCIES)[row]
    edges = np.array([e for e in bare_edges(built.room) if top in built.room.edges.facets[e]])
    middles = built.room.edges.ends[edges].mean(axis=1)
    (e,) = edges[np.abs(middles[:, 0] - mirror) < 1e-5]
    side = int(built.room.edges.facets[e, 1] == top)
    weight = weights_at(built, np.array(SOURCE), np.array(EAR), np.array([e]))[0, side]
    assert np.abs(factor).min() < 0.7
    assert weight == pytest.approx(factor, abs=1e-4)


def test_angles_are_never_below_grazing_and_exchangeable() -> None:
    built = soft_desk((10.0, 10.75))
    edges = bare_edges(built.room)
    ends = [np.array(SOURCE), np.array(EAR), np.array([9.9, 10.1, 10.74]), np.array([10.3, 10.0, 10.5])]
    for a in ends:
        for b in ends:
            one, other = weights_at(built, a, b, edges), weights_at(built, b, a, edges)
            assert np.isfinite(one).all()
            assert (np.abs(one) <= 1.0 + 1e-9).all()
            assert one == pytest.approx(other, abs=1e-12)


def excess_step_db(totals: list[np.ndarray]) -> np.ndarray:
    steps = np.diff([20.0 * np.log10(np.abs(total)) for total in totals], axis=0)
    return np.abs(steps[1] - 0.5 * (steps[0] + steps[2]))


def test_nothing_jumps_as_the_mirror_point_slides_off_a_soft_desk() -> None:
    """The point of it all: a layered top with a complex factor, a millimetre of depth, under 0.05 dB."""
    drop, rise = SOURCE[2] - 10.74, EAR[2] - 10.74
    mirror = SOURCE[0] + (EAR[0] - SOURCE[0]) * drop / (drop + rise)
    diffracted, plain, rigid = [], [], []
    for step in (-0.0015, -0.0005, 0.0005, 0.0015):
        built = soft_desk((10.0, mirror + step))
        paths, edge_paths = trace_paths(built, 1), trace_edges(built, 2)
        response = ear_response(built, paths, edge_paths)
        chosen = (response.frequencies_hz > 100.0) & (response.frequencies_hz < 2800.0)
        diffracted.append(response.total[0, 0][chosen])
        plain.append(ear_response(built, paths).total[0, 0][chosen])
        hard = soft_desk((10.0, mirror + step), finish={"absorption": HARD, "source": "made up for a test"})
        edges = ear_response(hard, trace_paths(hard, 1), trace_edges(hard, 2))
        rigid.append((edges.total - ear_response(hard, trace_paths(hard, 1)).total)[0, 0][chosen] + plain[-1])
    assert excess_step_db(plain).max() > 1.0
    assert excess_step_db(rigid).max() > 0.5  # rigid edges beside a soft top: what the weights are for
    assert excess_step_db(diffracted).max() < 0.05


@pytest.mark.parametrize("finish", [SOFT, HALF])
def test_source_and_ear_may_be_exchanged_beside_soft_faces(finish: Any) -> None:
    a, b = (9.8, 9.5, 11.05), (10.9, 10.1, 10.6)
    totals = []
    for source, ear in ((a, b), (b, a)):
        built = soft_desk((10.0, 10.75), source, ear, finish)
        edge_paths = trace_edges(built, 1)
        totals.append(edge_path_gains(built, edge_paths, FREQUENCIES).sum(axis=0))
    scale = 1.0 / np.linalg.norm(np.subtract(b, a))
    assert np.abs(totals[0] - totals[1]).max() < 1e-3 * scale
