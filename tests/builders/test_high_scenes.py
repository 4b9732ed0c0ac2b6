"""References from 1.25 to 2.5 kHz: of the same bodies as their scene files, and how far off mirrors and edges are."""

from __future__ import annotations

import numpy as np
import pytest

from sim.blueprint.reader import read_scene
from tests.builders.high_scenes import SCENES, references
from tests.builders.near_report import QUIET, errors, rms

STORED = references()
STEP = "two boxes side by side, a step"


@pytest.mark.parametrize("name", [name for name in SCENES if name != STEP])
def test_the_scene_file_holds_the_same_bodies(name: str) -> None:
    scene = SCENES[name]
    for piece, built in zip(scene.pieces, read_scene(scene.text(scene.ears[:2])).blueprint.furniture, strict=True):
        signs = np.array(np.meshgrid(*[[-0.5, 0.5]] * 3)).reshape(3, 8).T
        corners = piece.box.middle + signs * piece.box.size @ piece.box.axes
        (solid,) = built.solids()
        apart = np.linalg.norm(corners[:, None] - np.asarray(solid.corners)[None], axis=2)
        assert apart.min(axis=1).max() < 2e-4


def test_two_boxes_side_by_side_fill_what_two_on_each_other_fill() -> None:
    """The solver leaves out what touches above and below only, so it has the step cut the other way."""
    scene = SCENES[STEP]
    spots = np.random.default_rng(3).uniform([3.05, 3.5, 0.35], [3.55, 4.5, 0.8], (2000, 3))
    solids = [solid for f in read_scene(scene.text(scene.ears[:2])).blueprint.furniture for solid in f.solids()]
    low = np.array([np.min(solid.corners, axis=0) for solid in solids])
    high = np.array([np.max(solid.corners, axis=0) for solid in solids])
    in_file = ((spots[:, None] > low) & (spots[:, None] < high)).all(axis=2).any(axis=1)
    solved = np.any([piece.box.contains(spots) for piece in scene.pieces], axis=0)
    assert in_file.any()
    np.testing.assert_array_equal(in_file, solved)


def test_every_scene_is_stored_with_meshes_that_agree() -> None:
    assert [r.name for r in STORED] == list(SCENES)
    for r in STORED:
        heard = np.abs(r.total / r.direct) > QUIET
        assert rms(r.mesh_db[heard]) < 0.5, r.name
        assert r.frequencies_hz.min() > 1250.0


HELD: dict[str, tuple[float, float]] = {
    "shelf alone": (0.30, 0.18),
    "screen touching": (0.62, 2.2),
    "screen 5 mm above": (0.73, 4.0),
    "screen 8 cm above": (0.62, 3.8),
    "cabinet touching": (0.84, 2.9),
    "cabinet on 6 cm": (1.5, 3.5),
    "bridge with two cabinets": (2.3, 0.0),
    STEP: (0.56, 0.0),
    "screen behind a cabinet": (1.35, 5.0),
}
"""Mirrors and edges, no waves: rms error in dB where lit and in shadow, a tenth above what was measured.

Before pieces had their images in what they stand on it was 0.65 and 2.3 dB for the touching screen, 0.90 and 3.4 for
the touching cabinet.
"""


@pytest.mark.parametrize("name", HELD)
def test_edges_stay_as_near_to_boundary_elements_as_they_are(name: str) -> None:
    off = errors(next(r for r in STORED if r.name == name), waves_to_hz=0.0)
    lit, shadow = HELD[name]
    assert rms(off.lit) <= lit
    assert rms(off.shadow) <= shadow
