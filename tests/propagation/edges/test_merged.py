"""A body that stands on a surface, with its image: beside one body twice as high, and over gaps that open."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.bare import free_bodies
from sim.propagation.edges.convex import ConvexBody, prism
from sim.propagation.edges.diffracting import OPEN_M, diffracting
from sim.propagation.edges.merged import Foot, Merged, merged
from sim.propagation.edges.plates import body_pressure, chain_sums
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.responses.frequency import ear_response
from tests.built_scenes import block, box, built_scene_of, desk
from tests.propagation.edges.stepping import PLACES_M, heard_steps_db, middle_step_db, spot_levels_db
from tests.propagation.slow_edges import chains_by_dense_sums

SOURCE, EAR = np.array([9.6, 9.75, 0.5]), np.array([11.0, 10.42, 0.55])
DOWN = np.array([1.0, 1.0, -1.0])
WAVENUMBERS = 2.0 * np.pi * np.array([300.0, 900.0, 2200.0]) / 343.0


def standing(gap_m: float = 0.0, **more: Any) -> BuiltScene:
    """A box of 0.2 x 0.5 x 0.3 m on the floor of a wide room, or over it."""
    on = block((10.0, 10.2), (9.8, 10.3), (gap_m, gap_m + 0.3), name="case", **more)
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [tuple(SOURCE)], tuple(EAR), furniture=[on])


def on_the_floor() -> tuple[ConvexBody, Merged]:
    built = standing()
    found = diffracting(built, on_room=True).merged[built.room.owner_number("case")]
    return free_bodies(built.room)[built.room.owner_number("case")], found


def twice_as_high() -> ConvexBody:
    corners = np.array([[10.0, 9.8, 0.3], [10.2, 9.8, 0.3], [10.2, 10.3, 0.3], [10.0, 10.3, 0.3]])
    return prism(corners, 0.6)


def by_mirrors(body: ConvexBody, whole: Merged) -> dict[tuple[bool, bool], np.ndarray]:
    """Chains of two and of three (2, f) by whether the floor mirrors before the first edge, and after the last."""
    feet = (body.faces_of_edge == int(np.argmin(body.normals[:, 2]))).any(axis=1)
    bare = np.where(feet, 0.0, 1.0)  # where it stands there is no edge
    first, middle = whole.spread(bare, -1), np.concatenate([bare, *(foot.closeness * bare for foot in whole.feet)])
    drive = np.zeros((len(first), 0, len(WAVENUMBERS)), dtype=np.complex128)
    found = {}
    for before in (False, True):
        for after in (False, True):
            total = np.zeros((2, len(WAVENUMBERS)), dtype=np.complex128)
            start, end = SOURCE * (DOWN if before else 1.0), EAR * (DOWN if after else 1.0)
            for foot, ear in ((-1, end), (0, end * DOWN)):
                weights = np.stack([first, middle, whole.spread(bare, foot)])
                for one in chain_sums(whole.body, start, ear, WAVENUMBERS, 3, drive, weights):
                    total[:, one.group] += one.pressure()
            found[before, after] = total
    return found


def test_on_a_wide_surface_it_is_one_body_twice_as_high_between_two_sources() -> None:
    """Images in a rigid plane (Kuttruff, Room Acoustics, chapter 4): the four ways of mirrors are all there is."""
    got = sum(by_mirrors(*on_the_floor()).values())
    double = twice_as_high()
    wanted = sum(body_pressure(double, s, EAR, WAVENUMBERS, 3)[2:] for s in (SOURCE, SOURCE * DOWN))
    direct = 1.0 / np.linalg.norm(EAR - SOURCE)
    assert np.abs(wanted).max() > 0.2 * direct
    apart = np.abs(got - wanted).max(axis=1) / direct
    assert apart[0] < 5e-4  # each sum is within 2.5e-3 of itself
    assert apart[1] < 5e-3  # three edges meet in a grid of directions, each within 2e-3 (`chain_kernels.STEP`)


def test_without_its_image_what_runs_from_edge_to_edge_by_the_floor_is_missing() -> None:
    """So the test above would fail: the body alone, mirrored before and after only, is 50 times as far off."""
    body, whole = on_the_floor()
    alone = Merged(whole.body, (Foot(whole.feet[0].facet, 0.0),), whole.image_of)
    apart = sum(by_mirrors(body, alone).values()) - sum(by_mirrors(body, whole).values())
    assert np.abs(apart).max() > 0.05 / np.linalg.norm(EAR - SOURCE)


def test_sums_over_a_body_and_its_image_are_those_of_full_matrices() -> None:
    """The slow twin: every edge with every other, faces in common, at one frequency and to its own error."""
    _, whole = on_the_floor()
    drive = np.zeros((len(whole.image_of), 0, 1), dtype=np.complex128)
    (one,) = chain_sums(whole.body, SOURCE, EAR, WAVENUMBERS[:1], 3, drive)  # of two edges: none faded, as not last
    second, _ = chains_by_dense_sums(whole.body, SOURCE, EAR, float(WAVENUMBERS[0]), 16)
    assert one.pressure()[0, 0] == pytest.approx(second, abs=0.01 / np.linalg.norm(EAR - SOURCE))


def test_closeness_falls_steadily_from_touching_to_open_and_is_gone_there() -> None:
    gaps = np.linspace(0.0, OPEN_M + 1.0e-3, 12)
    found = [diffracting(standing(float(gap)), on_room=True).merged for gap in gaps]
    closeness = [next(iter(m.values())).feet[0].closeness if m else 0.0 for m in found]
    assert closeness[0] == 1.0 and closeness[-1] == 0.0 and not found[-1]
    assert (np.diff(closeness) <= 0.0).all()


@pytest.mark.parametrize("gap_m", [0.0, 0.95e-3, 3.0e-3, 9.9e-3, OPEN_M - 5.0e-5])
def test_a_gap_that_opens_by_a_tenth_of_a_millimetre_moves_no_chain(gap_m: float) -> None:
    """To 4 kHz, over every place where the image comes or goes."""
    some, direct = [], float(np.linalg.norm(EAR - SOURCE))
    for gap in (gap_m, gap_m + 1.0e-4):
        built = on_a_desk(gap)
        paths = trace_edges(built, 2)
        rows = paths.chosen(np.flatnonzero((paths.edge < 0) & (paths.owner == built.room.owner_number("case"))))
        turned = np.exp(-2j * np.pi * rows.frequencies_hz * rows.length_m[:, None] / 343.2)
        some.append((rows.gains * turned)[:, rows.frequencies_hz < 4000.0].sum(axis=0) * direct)
    assert np.abs(some[0]).max() > 0.1
    assert np.abs(some[1] - some[0]).max() < 0.012  # a tenth of a dB of the direct sound


def on_a_desk(
    gap_m: float, source: tuple[float, float, float] | None = None, ear: tuple[float, float, float] | None = None
) -> BuiltScene:
    """The same box on a wide desk, or over it, with source and ear as high over it unless given."""
    top = 5.0
    on = block((10.0, 10.2), (9.8, 10.3), (top + gap_m, top + gap_m + 0.3), name="case")
    up = np.array([0.0, 0.0, top])
    source, ear = source or tuple(SOURCE + up), ear or tuple(EAR + up)
    under = desk((8.0, 12.0), (8.0, 12.0), top)
    return built_scene_of(box(20.0, 20.0, 20.0, "open"), [source], ear, furniture=[under, on])


def feet_in(furniture: dict[str, Any]) -> int:
    built = built_scene_of(
        box(20.0, 20.0, 20.0, "open"),
        [tuple(SOURCE)],
        tuple(EAR),
        furniture=[desk((10.0, 10.7), (9.3, 10.7), 0.7), furniture],
    )
    found = diffracting(built).merged.get(built.room.owner_number(furniture["name"]))
    return len(found.feet) if found else 0


def test_what_hangs_over_the_rim_or_leans_stands_alone() -> None:
    assert feet_in(block((10.2, 10.3), (9.8, 10.2), (0.7, 0.9), name="case")) == 1
    assert feet_in(block((10.2, 10.3), (9.8, 10.2), (0.7, 0.9), turn_deg=25.0, name="case")) == 1
    assert feet_in(block((10.6, 10.8), (9.8, 10.2), (0.7, 0.9), name="case")) == 0
    assert feet_in(block((10.2, 10.3), (9.8, 10.2), (0.75, 0.9), name="case")) == 0
    leaning = {"kind": "screen", "at": {"from_front": 10.3, "from_left": 10.0, "up": 0.72}, "width": 0.5}
    leaning |= {"height": 0.3, "thickness": 0.03, "tilt_deg": 15.0, "material": "hard", "name": "case"}
    assert feet_in(leaning) == 0


def test_between_a_floor_and_a_wall_the_larger_counts_and_images_in_both_can_be_made() -> None:
    corner = block((0.0, 0.2), (9.8, 10.3), (0.0, 0.3), name="case")
    built = built_scene_of(box(20.0, 20.0, 20.0, "open"), [(0.6, 9.75, 0.5)], (1.0, 10.3, 0.5), furniture=[corner])
    assert not diffracting(built).merged  # a scene asks for what stands on pieces alone
    (found,) = diffracting(built, on_room=True).merged.values()
    assert [foot.closeness for foot in found.feet] == [1.0]
    floor, wall = (
        next(f for f, facet in enumerate(built.room.facets) if facet.owner == "room" and facet.normal[axis] > 0.9)
        for axis in (2, 0)
    )
    both = merged(built.room, free_bodies(built.room)[1], (Foot(floor, 1.0), Foot(wall, 1.0)))
    assert len(both.image_of) == 36
    assert both.body.edge_legs.max() == 35


@pytest.mark.parametrize(
    ("source_m", "ear_m", "moves"),
    [((9.8, 9.8), (11.05, 9.95), (1, 0)), ((9.8, 9.8), (11.05, 9.5), (1, 0)), ((9.8, 9.9), (11.05, 9.8), (0, 1))],
    ids=["source, ear behind", "source, ear beside", "ear, source before"],
)
def test_an_end_through_the_plane_of_a_side_moves_no_level_by_a_tenth_of_a_db(
    source_m: tuple[float, float], ear_m: tuple[float, float], moves: tuple[int, int]
) -> None:
    """A box on a wide desk, 150 Hz to 8 kHz, no sound waves, beside the steps next to it.

    Over the far edge of the side come its own sound and that of its image in the desk; what runs to it past the near
    edge, by the desk between them or not, makes up for both, and fades out where both do.
    """
    levels = []
    for u in PLACES_M:
        source = (source_m[0], source_m[1] + moves[0] * u, 5.25)
        ear = (ear_m[0], ear_m[1] + moves[1] * u, 5.3)
        built = on_a_desk(0.0, source, ear)
        response = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
        levels.append(spot_levels_db(response))
    assert middle_step_db(heard_steps_db(levels)) < 0.1
