"""Image and edges of one reflection are one event in the list; nothing is counted twice, nothing switches at a rim."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import parse_scene
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene, build_scene
from sim.propagation.edges.edge_kernels import LEAST_WIDTH
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.finite_facets import BESIDE_M, ON_RIM
from sim.responses.arrivals import list_arrivals
from sim.responses.joined_edges import joints_of
from sim.responses.path_kinds import DiffractedPaths
from tests.room_texts import room_text

SHELF = """
[[furniture]]
kind = "block"
name = "shelf"
from_front = [1.5, 2.3]
from_left = [0.9, 1.5]
up = [0.7, 0.72]
material = "rigid"
"""
BANDS = octave_bands()
FREQUENCIES = np.geomspace(250.0, 8000.0, 40)


def stage_at(ear_front: float) -> BuiltScene:
    text = room_text(
        (4.2, 5.0, 2.6), (ear_front, 1.2, 1.1), {"left": (0.8, 1.2, 1.1), "right": (0.8, 3.0, 1.1)}, more=SHELF
    )
    return build_scene(parse_scene(text, Path()).blueprint, Path())


def traced(ear_front: float) -> tuple[BuiltScene, PathTable, EdgePathTable]:
    built = stage_at(ear_front)
    return built, trace_paths(built, 1, beside_m=BESIDE_M), trace_edges(built, 1)


def test_what_is_shared_out_adds_up_to_what_there_was() -> None:
    built, paths, edge_paths = traced(3.0)
    images, edges = path_gains(built, paths, FREQUENCIES), edge_path_gains(built, edge_paths, FREQUENCIES)
    before = images.sum(axis=0) + edges.sum(axis=0)
    joints = joints_of(built, paths, edge_paths)
    joints.share_out(images, edges, FREQUENCIES)
    assert images.sum(axis=0) + edges.sum(axis=0) == pytest.approx(before, abs=1e-12)
    fractions = joints.fractions(FREQUENCIES)
    assert len(joints.edge) > 0
    for row in np.unique(joints.edge):
        assert (fractions[joints.edge == row].sum(axis=0) <= 1.0 + 1e-12).all()


def top_db(ear_front: float) -> np.ndarray:
    built, paths, edge_paths = traced(ear_front)
    arrivals = list_arrivals(built, paths, BANDS, Target(), DiffractedPaths(built, edge_paths), notches=False)
    (one,) = [a for a in arrivals if a.loudspeaker == "left" and a.surfaces == ("shelf top",)]
    return one.level_db[2:8]


STEPS_M = (-4e-3, -1e-3, -1e-5, -1e-7, -1e-9, 0.0, 1e-9, 1e-7, 1e-5, 1e-3, 4e-3)


def test_a_listed_reflection_does_not_switch_as_its_point_leaves_the_facet() -> None:
    """The ear crosses the place from which the point lies on the rim, and stops on it.

    Source 0.8 m, ear at 0.8 + 2 (2.3 - 0.8) = 3.8 m, both 0.38 m above: the point is on the far rim there.
    All that the shelf sends is -28.1, -18.3 and -9.8 dB from 250 Hz to 1 kHz by boundary elements of 4.5 cm
    (`sim.propagation.waves.surface`, six frequencies an octave); a part of its edges is listed on its own.
    """
    levels = np.array([top_db(3.8 + step) for step in STEPS_M])
    assert np.abs(levels[2:9] - levels[5]).max() < 0.1
    assert np.abs(levels[1:10] - levels[5]).max() < 1.0
    assert (np.abs(levels[:, :3] - [-28.1, -18.3, -9.8]) < [5.0, 1.5, 1.5]).all()


def test_no_sum_switches_where_a_reflection_ends() -> None:
    """On the rim itself, and nearer to it than the search can tell, image and edges are still one sum."""
    assert ON_RIM == LEAST_WIDTH
    sums = []
    for step in STEPS_M[3:8]:
        built, paths, edge_paths = traced(3.8 + step)
        images, edges = path_gains(built, paths, FREQUENCIES), edge_path_gains(built, edge_paths, FREQUENCIES)
        sums.append(images.sum(axis=0) + edges.sum(axis=0))
    assert np.abs(np.array(sums) - sums[0]).max() < 1e-3 * np.abs(sums[0]).max()
