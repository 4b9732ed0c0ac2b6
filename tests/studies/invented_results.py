"""Results with invented levels on a really traced scene: pictures are tested, not numbers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import octave_bands
from sim.blueprint.reader import SceneFile, parse_scene
from sim.placement.built_scene import build_scene
from sim.propagation.edges.tracing import no_edge_paths
from sim.propagation.mirrors.image_sources import survey_first_order, trace_paths
from sim.responses.ear_records import EarResponse, EnergyTimeCurve, Peak
from sim.responses.frequency import LATEST, ear_levels
from sim.responses.records import Arrival, Part, Responses, Results, SurfaceMap, Verdict
from tests.room_texts import desk_text, room_text

SCENE = room_text(
    (340, 420, 240),
    (160, 150, 120),
    {"left": (42, 88, 122), "right": (42, 212, 122)},
    model="",
    head='title = "small lopsided room"\nunits = "cm"',
    more=desk_text((55, 130), (70, 230), 74, name="")
    + """
[[furniture]]
kind = "screen"
at = { from_front = 75, from_left = 150, up = 86 }
width = 61
height = 36
[[openings]]
name = "window"
kind = "window"
surface = "left wall"
from_front = [70, 170]
up = [95, 205]
[[openings]]
name = "door"
kind = "door"
surface = "rear wall"
from_left = [240, 320]
up = [0, 200]
swing = 80
""".lstrip(),
)


@pytest.fixture(scope="session")
def invented() -> Results:
    return invented_results(parse_scene(SCENE, Path()))


@pytest.fixture(scope="session")
def other_invented() -> Results:
    text = SCENE.replace("from_front = [55, 130]", "from_front = [75, 130]").replace("small", "second")
    return invented_results(parse_scene(text, Path()), louder_db=3.0)


def invented_results(scene: SceneFile, louder_db: float = 0.0) -> Results:
    """Trace two mirrors deep and invent a level for each path: spreading, less 3 dB for each surface."""
    built = build_scene(scene.blueprint, scene.folder)
    paths = trace_paths(built, 2)
    bands = octave_bands()
    names = [(speaker.name, built.listener_names) for speaker in built.loudspeakers]
    facets = built.room.facets
    arrivals: list[Arrival] = []
    for s, (loudspeaker, listeners) in enumerate(names):
        for ear, listener in enumerate(listeners):
            rows = np.flatnonzero((paths.loudspeaker == s) & (paths.listener == ear))
            groups: dict[tuple[int, ...], list[int]] = {}
            for row in rows.tolist():
                groups.setdefault(tuple(n for n in paths.facets[row].tolist() if n >= 0), []).append(row)
            direct = min(float(paths.length_m[row]) for row in groups[()])
            made = []
            for sequence, members in groups.items():
                length = min(float(paths.length_m[row]) for row in members)
                level = 20 * np.log10(direct / length) - 3.0 * len(sequence) + louder_db * bool(sequence)
                levels = level - 0.8 * np.arange(len(bands)) * bool(sequence)
                parts = tuple(
                    Part(
                        row,
                        built.loudspeakers[s].model.drivers[paths.driver[row]].name,
                        paths.points[row, : len(sequence)],
                        float(paths.length_m[row]),
                        float(paths.length_m[row]) - direct,
                        (float(paths.length_m[row]) - direct) / 0.343,
                        float(paths.length_m[row]) / 0.343,
                        0.0,
                        0.0,
                        0.0,
                        float(paths.margin_m[row]),
                        "",
                        levels,
                    )
                    for row in members
                )
                made.append((level, sequence, parts, levels))
            made.sort(key=lambda entry: (len(entry[1]) > 0, -entry[0]))
            for number, (_, sequence, parts, levels) in enumerate(made):
                surfaces = tuple(facets[n].name for n in sequence)
                delay = max(parts[0].delay_ms, 0.05)
                arrivals.append(
                    Arrival(
                        loudspeaker,
                        listener,
                        number,
                        "reflection" if sequence else "direct",
                        len(sequence),
                        surfaces,
                        tuple(facets[n].owner for n in sequence),
                        tuple(facets[n].material for n in sequence),
                        parts,
                        levels,
                        float(levels[4:8].max()),
                        1000.0,
                        (500.0 / delay, 1500.0 / delay, 2500.0 / delay),
                    )
                )
    return Results(
        scene,
        built,
        paths,
        survey_first_order(built),
        Responses(
            bands,
            tuple(arrivals),
            _response(names, arrivals),
            _curve(names, arrivals, bands),
            _maps(built, arrivals, bands),
            _verdicts(names, arrivals),
            240.0,
            (),
        ),
        no_edge_paths(),
    )


def _of(arrivals: list[Arrival], loudspeaker: str, listener: str) -> list[Arrival]:
    return [a for a in arrivals if (a.loudspeaker, a.listener) == (loudspeaker, listener)]


def _verdicts(names, arrivals):
    return tuple(
        Verdict(
            name,
            listener,
            False,
            tuple(a.number for a in _of(arrivals, name, listener) if a.order and a.worst_db > -15.0),
            (),
        )
        for name, listeners in names
        for listener in listeners
    )


def _response(names, arrivals):
    frequencies = np.geomspace(20.0, 20000.0, 1200)
    listeners = names[0][1]
    surfaces = tuple(sorted({name for arrival in arrivals for name in arrival.surfaces}))
    shape = (len(names), len(listeners), len(frequencies))
    direct, total = np.ones(shape, dtype=complex), np.zeros(shape, dtype=complex)
    by_surface = np.zeros((*shape[:2], len(surfaces), shape[2]), dtype=complex)
    pieces = tuple(sorted({name for arrival in arrivals for name in arrival.owners} - {"room"}))
    by_piece = np.zeros((*shape[:2], len(pieces), shape[2]), dtype=complex)
    for s, (name, _) in enumerate(names):
        for ear, listener in enumerate(listeners):
            for arrival in _of(arrivals, name, listener):
                size = 10 ** (np.interp(frequencies, [63, 16000], arrival.level_db[[0, -1]]) / 20)
                wave = size * np.exp(-2j * np.pi * frequencies * arrival.main.delay_ms / 1e3)
                total[s, ear] += wave
                for surface in set(arrival.surfaces):
                    by_surface[s, ear, surfaces.index(surface)] += wave
                for piece in set(arrival.owners) - {"room"}:
                    by_piece[s, ear, pieces.index(piece)] += wave
    by_driver = total[:, None]
    cases = [("surface", name) for name in surfaces]
    levels = ear_levels(frequencies, direct, by_driver, cases, by_surface[:, None])
    return EarResponse(
        frequencies,
        direct,
        total,
        by_driver,
        surfaces,
        by_surface,
        pieces,
        by_piece,
        (),
        by_surface[:, :, :0],
        levels,
        replace(LATEST, window_ms=20.0, octave_hz=np.zeros(0), with_room_db=levels.whole_db[:, :, 0]),
    )


def _curve(names, arrivals, bands):
    time_ms = np.arange(-2.0, 40.0, 0.02)
    listeners = names[0][1]
    energy = np.full((len(names), len(listeners), len(bands), len(time_ms)), 1e-6)
    flight = np.zeros((len(names), len(listeners)))
    peaks = []
    for s, (name, _) in enumerate(names):
        row = []
        for ear, listener in enumerate(listeners):
            mine = _of(arrivals, name, listener)
            flight[s, ear] = mine[0].main.flight_time_ms
            for arrival in mine:
                width = 0.6 / bands.nominal_hz[:, None] * 1e3 + 0.03
                bump = np.exp(-(((time_ms - arrival.main.delay_ms) / width) ** 2))
                energy[s, ear] += 10 ** (arrival.level_db[:, None] / 10) * bump
            named = [a for a in mine if a.order and a.main.delay_ms < 39 and a.worst_db > -20]
            row.append(
                tuple(
                    Peak(a.main.delay_ms, a.worst_db, (a.number,), a.via)
                    for a in sorted(named, key=lambda a: a.main.delay_ms)
                )
            )
        peaks.append(tuple(row))
    octave = 10 * np.log10(energy)
    return EnergyTimeCurve(
        time_ms, flight, octave[:, :, 5:8].max(axis=2), octave, 10 ** (octave[:, :, 6] / 20), bands, tuple(peaks)
    )


def _maps(built, arrivals, bands, grid_m=0.05):
    import shapely

    from sim.geometry.unions import united_polygon

    maps = []
    for number, facet in enumerate(built.room.facets):
        firsts = [a for a in arrivals if a.order == 1 and a.listener == "ear" and a.surfaces == (facet.name,)]
        if not firsts:
            continue
        polygon = united_polygon(facet.to_plane(built.room.triangles[built.room.facet_of_triangle == number]))
        left, low, right, high = polygon.bounds
        shape = (int(np.ceil((right - left) / grid_m)), int(np.ceil((high - low) / grid_m)))
        cell = np.stack(np.meshgrid(*(np.arange(n) for n in shape), indexing="ij"), axis=-1).reshape(-1, 2)
        plane = np.array([left, low]) + (cell + 0.5) * grid_m
        inside = shapely.contains_xy(polygon, *plane.T)
        cell, plane = cell[inside], plane[inside]
        points = facet.from_plane(plane)
        level = np.full((len(built.loudspeakers), len(bands), len(points)), -np.inf)
        drivers = max(len(s.driver_points) for s in built.loudspeakers)
        mirrors = np.full((len(built.loudspeakers), drivers, 3), np.nan)
        for s, speaker in enumerate(built.loudspeakers):
            for arrival in firsts:
                if arrival.loudspeaker != speaker.name:
                    continue
                for d, part in enumerate(arrival.parts):
                    mirrors[s, d] = part.points[0]
                away = np.linalg.norm(points - arrival.main.points[0], axis=1)
                level[s] = np.where(away < 0.4, arrival.level_db[:, None] - 40.0 * away**2, -np.inf)
        both = 10 * np.log10(np.maximum((10 ** (level / 10)).sum(axis=0) / 2, 1e-30))
        both[both < -200] = -np.inf
        maps.append(
            SurfaceMap(number, facet.name, facet.owner, points, cell, shape, plane, grid_m, level, both, mirrors)
        )
    return tuple(maps)
