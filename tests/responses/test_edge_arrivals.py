"""Arrivals by way of edges: levels, times and angles against a plain sum over the rows of the table of bends."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands, sample_frequencies
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.table import EdgePathTable, edge_path_gains
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import POINTS_PER_OCTAVE, in_target_band, list_arrivals
from sim.responses.joined_edges import joints_of
from sim.responses.path_kinds import DiffractedPaths
from sim.responses.records import Arrival
from tests.built_scenes import box, built_scene_of, desk, loudspeaker

BANDS = octave_bands()
EARS = (2.4, 1.5, 1.2), (3.4, 2.9, 1.1)


@cache
def diffracted() -> tuple[BuiltScene, PathTable, EdgePathTable, tuple[Arrival, ...]]:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way"), loudspeaker((1.1, 2.9, 1.3), "right", model="two-way")],
        EARS[0],
        furniture=[desk((1.3, 1.9), (0.8, 2.4), 0.74)],
        listener={"second_seat": {"name": "guest", "ear": {"from_front": 3.4, "from_left": 2.9, "up": 1.1}}},
    )
    paths, edge_paths = trace_paths(built, 1), trace_edges(built, 2)
    listed = list_arrivals(built, paths, BANDS, Target(), DiffractedPaths(built, edge_paths))
    return built, paths, edge_paths, tuple(arrival for arrival in listed if arrival.kind == "edge")


def test_levels_are_energies_over_that_of_the_direct_sound() -> None:
    built, paths, edge_paths, arrivals = diffracted()
    frequencies = sample_frequencies(BANDS, POINTS_PER_OCTAVE)
    shape = (-1, *frequencies.shape)
    edges = edge_path_gains(built, edge_paths, frequencies.ravel())
    images = path_gains(built, paths, frequencies.ravel())
    joints_of(built, paths, edge_paths).share_out(images, edges, frequencies.ravel())
    gains, straight = edges.reshape(shape), images.reshape(shape)
    judged = in_target_band(BANDS, Target())
    names = [one.name for one in built.loudspeakers]
    assert {(a.loudspeaker, a.listener) for a in arrivals} == {(n, e) for n in names for e in ("ear", "guest")}
    for arrival in arrivals:
        s, e = names.index(arrival.loudspeaker), built.listener_names.index(arrival.listener)
        direct = sum(
            straight[k]
            for k in range(len(paths))
            if paths.order[k] == 0 and paths.loudspeaker[k] == s and paths.listener[k] == e
        )
        reference = np.mean(np.abs(direct) ** 2, axis=1)
        whole = np.mean(np.abs(sum(gains[part.path] for part in arrival.parts)) ** 2, axis=1) / reference
        loud = whole > 1e-8
        assert arrival.level_db[loud] == pytest.approx(10.0 * np.log10(whole[loud]), abs=1e-6)
        assert arrival.worst_db == pytest.approx(arrival.level_db[judged].max())
        assert arrival.worst_band_hz == BANDS.nominal_hz[judged][np.argmax(arrival.level_db[judged])]
        fractions = [np.mean(np.abs(gains[part.path]) ** 2, axis=1) / reference for part in arrival.parts]
        for part, fraction in zip(arrival.parts, fractions, strict=True):
            heard = fraction > 1e-8
            assert part.level_db[heard] == pytest.approx(10.0 * np.log10(fraction[heard]), abs=1e-6)
        ranks = [float(fraction[judged].sum()) for fraction in fractions]
        assert ranks == sorted(ranks, reverse=True)
        assert arrival.kind == "edge" and arrival.diffracted and arrival.order == len(arrival.surfaces) >= 1


def test_times_lengths_and_angles_follow_from_the_points() -> None:
    built, _, edge_paths, arrivals = diffracted()
    names = [one.name for one in built.loudspeakers]
    for arrival in arrivals:
        placed = built.loudspeakers[names.index(arrival.loudspeaker)]
        ear = np.array(EARS[built.listener_names.index(arrival.listener)])
        for part in arrival.parts:
            number = [driver.name for driver in placed.model.drivers].index(part.driver)
            assert number == edge_paths.driver[part.path]
            source = placed.driver_points[number]
            direct = float(np.linalg.norm(ear - source))
            speed = built.air.speed_of_sound_m_s
            assert part.extra_path_m == pytest.approx(part.length_m - direct)
            assert part.delay_ms == pytest.approx(1000.0 * (part.length_m - direct) / speed)
            assert part.flight_time_ms == pytest.approx(1000.0 * part.length_m / speed)
            if len(part.points):
                corners = np.vstack([source, part.points, ear])
                assert part.length_m == pytest.approx(np.linalg.norm(np.diff(corners, axis=0), axis=1).sum(), abs=1e-6)
                first, last = part.points[0], part.points[-1]
            else:  # a chain of edges has no point of its own: its direction is about that of the direct sound
                first = last = 0.5 * (source + ear)
            leaving = (first - source) / np.linalg.norm(first - source)
            off_axis = np.degrees(np.arccos(np.clip(leaving @ placed.rotation[:, 0], -1.0, 1.0)))
            assert part.departure_deg == pytest.approx(off_axis, abs=1e-4)
            depth, across, up = last - ear
            assert part.arrival_azimuth_deg == pytest.approx(np.degrees(np.arctan2(across, -depth)), abs=1e-6)
            elevation = np.degrees(np.arctan2(up, np.hypot(depth, across)))
            assert part.arrival_elevation_deg == pytest.approx(elevation, abs=1e-6)


def test_owners_are_those_of_mirrors_and_edge_in_order() -> None:
    built, _, edge_paths, arrivals = diffracted()
    orders = set()
    for arrival in arrivals:
        row = arrival.main.path
        before, after = int(edge_paths.before[row]), int(edge_paths.after[row])
        expected = [built.room.owners[int(edge_paths.owner[row])]]
        expected = [built.room.facets[before].owner] * (before >= 0) + expected
        expected += [built.room.facets[after].owner] * (after >= 0)
        assert list(arrival.owners) == expected
        orders.add((before >= 0, after >= 0))
    assert {(False, False), (True, False), (False, True)} <= orders
