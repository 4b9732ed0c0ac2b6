"""Source and ear within a few millimetres of the plane of a face, both of them: sums against a twin, and no steps."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges import plates
from sim.propagation.edges.convex import ConvexBody, prism
from sim.propagation.edges.plates import body_pressure, chain_sums, edge_drive
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, desk
from tests.propagation.slow_chains import chains_over_two_edges


def plate(width: float, depth: float, thick: float) -> ConvexBody:
    x, y, z = 0.5 * depth, 0.5 * width, 0.5 * thick
    return prism(np.array([[-x, -y, z], [x, -y, z], [x, y, z], [-x, y, z]]), thick)


Ends = Callable[[float], tuple[np.ndarray, np.ndarray]]
DESK, BLOCK, SCREEN = plate(1.6, 0.75, 0.03), plate(0.3, 0.25, 0.4), plate(0.6, 0.02, 0.35)


def ends(source: tuple[float, ...], ear: tuple[float, ...], moves: tuple[int, int], axis: int = 2) -> Ends:
    """Source and ear, each moved along an axis or not."""
    way = np.eye(3)[axis]
    return lambda u: (np.array(source) + moves[0] * u * way, np.array(ear) + moves[1] * u * way)


CASES: dict[str, tuple[ConvexBody, Ends]] = {
    "both through a screen's top": (SCREEN, ends((-0.5, 0.1, 0.175), (0.6, 0.0, 0.175), (1, 1))),
    "ear through a screen's top, source 0.5 mm above": (SCREEN, ends((-0.5, 0.1, 0.1755), (0.6, 0.0, 0.175), (0, 1))),
    "both through a desk's top": (DESK, ends((-0.8, 0.1, 0.015), (0.9, 0.0, 0.015), (1, 1))),
    "ear through a desk's top, source 1 mm above": (DESK, ends((-0.8, 0.1, 0.016), (0.9, 0.0, 0.015), (0, 1))),
    "both through a block's front": (BLOCK, ends((0.125, 0.5, 0.1), (0.125, -0.6, 0.0), (1, 1), 0)),
}


@pytest.mark.parametrize(
    ("case", "moved_m", "error"),
    [
        ("both through a screen's top", 1.0e-3, 1e-3),
        ("both through a screen's top", -2.0e-4, 1e-3),
        ("both through a desk's top", 3.0e-4, 2e-3),
        ("ear through a desk's top, source 1 mm above", -0.9e-3, 2e-3),
        ("both through a block's front", 3.0e-4, 3e-3),
    ],
)
def test_chains_of_two_between_ends_that_graze_one_face_are_those_of_a_twin(
    case: str, moved_m: float, error: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Re the direct sound as it would be alone, 500 Hz to 4 kHz; no edge fades here."""
    body, way = CASES[case]
    source, ear = way(moved_m)
    k = 2.0 * np.pi * np.array([500.0, 4000.0]) / 343.2
    monkeypatch.setattr(plates, "rim_fade", lambda body, _: np.ones(len(body.wedges[4])))
    found = np.zeros(len(k), complex)
    for one in chain_sums(body, source, ear, k, 3, edge_drive(body, source, None, len(k))):
        found[one.group] += one.pressure()[0]
    slow = chains_over_two_edges(body, source, ear, k)
    assert np.abs(found - slow).max() * np.linalg.norm(ear - source) < error
    assert np.abs(slow).min() * np.linalg.norm(ear - source) > 0.02


@pytest.mark.parametrize("case", CASES)
def test_a_tenth_of_a_millimetre_through_the_plane_of_a_face_moves_no_level_by_a_tenth_of_a_db(case: str) -> None:
    body, way = CASES[case]
    k = 2.0 * np.pi * np.array([125.0, 250.0, 1000.0, 4000.0]) / 343.2
    levels = []
    for u in (-5.0e-3, -4.9e-3, -3.0e-4, -2.0e-4, -1.0e-4, -2.0e-7, 2.0e-7, 1.0e-4, 2.0e-4, 3.0e-4, 3.0e-3, 3.1e-3):
        source, ear = way(u)
        levels.append(20.0 * np.log10(np.abs(body_pressure(body, source, ear, k, 3).sum(axis=0))))
    steps = np.abs(np.diff(levels, axis=0))
    assert np.delete(steps, [1, 9], axis=0).max() < 0.1
    assert steps[[1, 9]].max() > 0.001  # something does move


TOP, OVER = 10.74, 11.17
TABLE = desk((10.0, 10.75), (9.2, 10.8), TOP)
HUNG = block((10.05, 10.07), (9.7, 10.3), (TOP + 0.08, OVER), name="screen")


def traced_db(built: BuiltScene) -> np.ndarray:
    """Level re the direct sound, 150 Hz to 8 kHz, no sound waves, so that edges do all of it."""
    response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
    some = np.searchsorted(response.frequencies_hz, np.geomspace(150.0, 7900.0, 40))
    return 20.0 * np.log10(np.abs(response.total[0, 0] / response.direct[0, 0])[some])


@pytest.mark.parametrize(
    ("level_m", "ahead_m", "source_m", "furniture"),
    [(TOP, 9.9, None, [TABLE]), (TOP, 9.9, 1.0e-3, [TABLE]), (OVER, 9.6, None, [TABLE, HUNG])],
    ids=["both through a desk", "ear through a desk", "both through the top of a screen over a desk"],
)
def test_a_traced_seat_through_the_plane_of_a_face_has_no_steps(
    level_m: float, ahead_m: float, source_m: float | None, furniture: list[dict]
) -> None:
    """Also where chains of three edges, of two, and those with a mirror are the last (4.4 to 5.6 kHz, 4 kHz).

    A step beside the steps next to it, as dips move by themselves: half-way behind a screen 8 kHz turns by 0.01 rad in
    a tenth of a millimetre.  What is 15 dB under the direct sound is left out.
    """
    levels = []
    for u in (-2.0e-4, -1.0e-4, 0.0, 1.0e-4, 2.0e-4):
        high = u if source_m is None else source_m
        levels.append(
            traced_db(
                built_scene_of(
                    box(20.0, 20.0, 20.0, "open"),
                    [(ahead_m, 9.95, level_m + high)],
                    (11.05, 10.1, level_m + u),
                    furniture=furniture,
                )
            )
        )
    heard = np.array(levels[1:]) > -15.0
    assert heard.mean() > 0.4
    steps = np.diff(levels, axis=0)
    assert np.abs(steps - np.median(steps, axis=0))[heard].max() < 0.1
