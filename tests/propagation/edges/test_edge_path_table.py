"""Mirrors before and after an edge: layers at the angle of that leg, panels by their share, as on mirrored paths."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from sim.acoustics.buildups import find_build_up
from sim.acoustics.layered_reflection import reflection_factor_at
from sim.acoustics.patches import effective_reflection
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import share_of_panel
from sim.propagation.surfaces.incidence import Incidences
from sim.responses.frequency import ear_response
from tests.built_scenes import HARD, box, built_scene_of, desk

WOOL = "100 mm wool, 100 mm gap"
SOURCE, EAR = (0.5, 1.1, 1.15), (1.7, 1.75, 1.2)
FREQUENCIES = np.geomspace(150.0, 6000.0, 40)


def room_of(ceiling: str = "hard", *panels: dict[str, Any], source: Any = SOURCE, ear: Any = EAR) -> BuiltScene:
    materials = {
        "hard": {"absorption": HARD, "source": "made up for a test"},
        "half": {"absorption": [0.5] * 8, "source": "made up for a test"},
        "wool": {"build_up": WOOL},
    }
    return built_scene_of(
        box(4.2, 3.4, 2.4, {"ceiling": ceiling}),
        [source],
        ear,
        materials=materials,
        panels=list(panels),
        furniture=[desk((0.8, 1.4), (0.9, 2.5), 0.74)],
    )


def by_the_ceiling(built: BuiltScene, edge_paths: EdgePathTable) -> dict[str, np.ndarray]:
    (ceiling,) = built.room.facet_numbers("ceiling")
    return {
        "before": np.flatnonzero(edge_paths.before == ceiling),
        "after": np.flatnonzero(edge_paths.after == ceiling),
    }


def by_hand(edge_paths: EdgePathTable, row: int, side: str) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Mirror point, direction of the leg that comes to it, and lengths before and after, from the points alone."""
    places = [np.array(SOURCE), *(p for p in edge_paths.points[row] if not np.isnan(p[0])), np.array(EAR)]
    steps = [float(np.linalg.norm(b - a)) for a, b in itertools.pairwise(places)]
    at = 1 if side == "before" else 2
    arriving = (places[at] - places[at - 1]) / steps[at - 1]
    return places[at], arriving, sum(steps[:at]), sum(steps[at:])


@pytest.mark.parametrize("side", ["before", "after"])
def test_a_way_by_a_layered_ceiling_has_the_layered_factor(side: str) -> None:
    hard, soft = room_of(), room_of("wool")
    edge_paths = trace_edges(hard)
    rows = by_the_ceiling(hard, edge_paths)[side]
    assert rows.size > 2
    ratio = edge_path_gains(soft, edge_paths, FREQUENCIES)[rows] / edge_path_gains(hard, edge_paths, FREQUENCIES)[rows]
    build_up = find_build_up(WOOL)
    for k, row in enumerate(rows):
        _, arriving, before, after = by_hand(edge_paths, int(row), side)
        expected = reflection_factor_at(build_up, FREQUENCIES, np.arccos(arriving[2]), soft.air)[0]
        assert before + after == pytest.approx(edge_paths.length_m[row], abs=1e-9)
        assert ratio[k] == pytest.approx(expected, rel=1e-6)


def test_a_ceiling_of_coefficients_is_met_as_before() -> None:
    hard, half = room_of(), room_of("half")
    edge_paths = trace_edges(hard)
    low = FREQUENCIES[FREQUENCIES < 3000.0]  # chains end at 4 kHz
    ratio = edge_path_gains(half, edge_paths, low) / edge_path_gains(hard, edge_paths, low)
    rows = by_the_ceiling(hard, edge_paths)
    touching = np.zeros(len(edge_paths), dtype=bool)
    touching[np.concatenate([rows["before"], rows["after"]])] = True
    assert ratio[touching] == pytest.approx(np.full((int(touching.sum()), len(low)), np.sqrt(0.5)), abs=1e-12)
    assert ratio[~touching] == pytest.approx(np.ones((int((~touching).sum()), len(low))), abs=1e-12)


@pytest.mark.parametrize("side", ["before", "after"])
def test_a_panel_on_the_ceiling_is_blended_into_ways_round_edges(side: str) -> None:
    hard = room_of()
    spans = {"from_front": (0.5, 1.4), "from_left": (1.0, 1.6)}
    with_panel = room_of("hard", {"name": "cloud", "surface": "ceiling", "material": WOOL, **spans})
    edge_paths = trace_edges(hard)
    rows = by_the_ceiling(hard, edge_paths)[side]
    # share of a panel held to boundary elements: tests/propagation/surfaces/test_patches_on_walls.py
    ratio = (
        edge_path_gains(with_panel, edge_paths, FREQUENCIES)[rows]
        / edge_path_gains(hard, edge_paths, FREQUENCIES)[rows]
    )
    (panel,), speed = with_panel.panels, hard.air.speed_of_sound_m_s
    for k, row in enumerate(rows):
        point, arriving, before, after = by_hand(edge_paths, int(row), side)
        cosine = float(-arriving @ panel.normal)
        face = reflection_factor_at(find_build_up(WOOL), FREQUENCIES, np.arccos(cosine), hard.air)
        met = Incidences(
            np.zeros(1, dtype=np.int64),
            edge_paths.before[[row]] if side == "before" else edge_paths.after[[row]],
            *(np.array(value)[None] for value in (point, arriving, cosine, before, after)),
        )
        share = share_of_panel(panel.corners_m, panel.normal, met, (np.ones_like(face), face), FREQUENCIES, speed)
        seen = face * np.exp(2j * np.pi * FREQUENCIES / speed * 2.0 * panel.depth_m * cosine)
        assert ratio[k] == pytest.approx(effective_reflection(1.0, (seen[0], share[0])), abs=2e-4)


def test_source_and_ear_may_be_exchanged_by_way_of_a_layered_ceiling() -> None:
    totals = []
    for source, ear in ((SOURCE, EAR), (EAR, SOURCE)):
        built = room_of("wool", source=source, ear=ear)
        response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
        chosen = (response.frequencies_hz > 80.0) & (response.frequencies_hz < 4000.0)
        totals.append(response.total[0, 0][chosen])
    assert np.abs(totals[0] - totals[1]).max() < 0.02 * np.abs(totals[0]).max()
