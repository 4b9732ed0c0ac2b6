"""Image and edges of one reflection are one event in the list; nothing is counted twice, nothing switches at a rim."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import parse_scene
from sim.blueprint.treatment import Target
from sim.placement.stage import Stage, set_stage
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.surfaces.finite_facets import BESIDE_M
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


def stage_at(ear_front: float) -> Stage:
    text = room_text(
        (4.2, 5.0, 2.6), (ear_front, 1.2, 1.1), {"left": (0.8, 1.2, 1.1), "right": (0.8, 3.0, 1.1)}, more=SHELF
    )
    return set_stage(parse_scene(text, Path()).blueprint, Path())


def traced(ear_front: float) -> tuple[Stage, PathTable, EdgePathTable]:
    stage = stage_at(ear_front)
    return stage, trace_paths(stage, 1, beside_m=BESIDE_M), trace_edges(stage, 1)


def test_what_is_shared_out_adds_up_to_what_there_was() -> None:
    stage, paths, edge_paths = traced(3.0)
    images, edges = path_gains(stage, paths, FREQUENCIES), edge_path_gains(stage, edge_paths, FREQUENCIES)
    before = images.sum(axis=0) + edges.sum(axis=0)
    joints = joints_of(stage, paths, edge_paths)
    joints.share_out(images, edges, FREQUENCIES)
    assert images.sum(axis=0) + edges.sum(axis=0) == pytest.approx(before, abs=1e-12)
    fractions = joints.fractions(FREQUENCIES)
    assert len(joints.edge) > 0
    for row in np.unique(joints.edge):
        assert (fractions[joints.edge == row].sum(axis=0) <= 1.0 + 1e-12).all()


def top_db(ear_front: float) -> np.ndarray:
    stage, paths, edge_paths = traced(ear_front)
    arrivals = list_arrivals(stage, paths, BANDS, Target(), DiffractedPaths(stage, edge_paths), notches=False)
    (one,) = [a for a in arrivals if a.loudspeaker == "left" and a.surfaces == ("shelf top",)]
    return one.level_db[2:8]


def test_a_listed_reflection_does_not_switch_as_its_point_leaves_the_facet() -> None:
    """The ear crosses the place from which the point lies on the rim (1.5 m: its mirror at 2.2 + 2 (2.3 - ...)).

    Source 0.8 m, ear at 0.8 + 2 (2.3 - 0.8) = 3.8 m, both 0.38 m above: the point is on the far rim there.
    """
    levels = np.array([top_db(3.8 + step) for step in (-0.004, -0.001, -0.00001, 0.00001, 0.001, 0.004)])
    assert np.abs(levels[3] - levels[2]).max() < 0.1
    assert np.abs(levels[4] - levels[1]).max() < 1.0
    assert (levels > -30.0).all()
