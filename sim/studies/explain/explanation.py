"""One arrival explained: where it goes, what each thing on its way takes, when it comes, and what would remove it."""

from __future__ import annotations

import numpy as np

from sim.acoustics.bands import sample_frequencies
from sim.acoustics.levels import level_db
from sim.arrays import FloatArray, IntArray, frozen
from sim.blueprint.error_messages import number_of
from sim.errors import SceneError
from sim.placement.built_scene import BuiltScene, build_scene
from sim.placement.poses import PlacedLoudspeaker
from sim.propagation.edges.panel_frames import panel_of
from sim.propagation.edges.table import edge_path_gains
from sim.propagation.surfaces.factors import pairs_of, shares_of_pairs
from sim.propagation.surfaces.incidence import incidences_with
from sim.responses.arrivals import POINTS_PER_OCTAVE, in_target_band, in_window
from sim.responses.records import Arrival, Results
from sim.studies.explain.edge_trial import EdgeTrial, body_energy, carries, changed_blueprint, edge_trial, stays
from sim.studies.explain.losses import arrival_losses
from sim.studies.explain.mirror_trial import remedies_for
from sim.studies.explain.panel_trial import PanelTrial, panel_trial
from sim.studies.explain.records import Aim, Explanation, Furnishing, MetPanel, Touch

SMALLEST_FRACTION = 0.05
"""A panel that governs less than this in every octave is not named."""
SMALLEST_PANEL_M2 = 0.5
"""Upright surfaces of furniture from this size on may carry a panel (common practice, no source)."""
POINTS_OF_CHAINS = 3
"""Frequencies per octave at which chains of edges are tried, which take long."""


def explain(
    results: Results, loudspeaker: str | None = None, listener: str | None = None, number: int = 1
) -> Explanation:
    """Explain arrival `number` (0 the direct sound) of a loudspeaker at a listener; the first of each unless named.

    Raises
    ------
    SceneError
        If there is no such loudspeaker, listener or arrival; it says what there is.
    """
    built = results.built
    arrival = find_arrival(results, loudspeaker, listener, number)
    bands, target = results.responses.bands, results.scene.blueprint.target
    judged = in_target_band(bands, target) & (bands.nominal_hz >= results.responses.transition_hz)
    losses, carrying = arrival_losses(built, results.paths, results.edge_paths, arrival, bands)
    s, place = _numbers(built, arrival)
    model = built.loudspeakers[s].model
    d = next(n for n, driver in enumerate(model.drivers) if driver.name == arrival.main.driver)
    source, ear = built.loudspeakers[s].driver_points[d], built.ears[place]
    touches = _edge_touches(results, arrival) if arrival.diffracted else _touches(results, arrival)
    points = np.vstack([source, *(touch.point for touch in touches), ear])
    if arrival.diffracted and not len(arrival.main.points):
        points = np.vstack([source, _over_two_edges(built, touches[0].owner, source, ear), ear])
    worst = int(np.argmin(np.abs(bands.nominal_hz - arrival.worst_band_hz)))
    counted = np.flatnonzero(judged) if judged.any() else np.array([worst])
    trials, furnishings, edge = _what_would_remove(results, arrival, counted) if arrival.order else ((), (), None)
    return Explanation(
        arrival=arrival,
        bands=bands,
        judged=judged,
        worst=worst,
        drivers=tuple(arrival.parts[k].driver for k in carrying),
        silent=tuple(one.name for one in model.drivers if one.name not in {part.driver for part in arrival.parts}),
        points=frozen(points),
        touches=touches,
        toward_ear=aim(built.loudspeakers[s], ear - source),
        departing=aim(built.loudspeakers[s], points[1] - source),
        direct_m=float(np.linalg.norm(ear - source)),
        losses=losses,
        inside_window=in_window(arrival, target),
        panels=trials,
        furnishings=furnishings,
        edge=edge,
        hidden_by=_hidden_by(built, s, place) if arrival.blocked else (),
        results=results,
    )


def refuse_unknown_names(built: BuiltScene, loudspeaker: str | None, listener: str | None, number: int) -> None:
    """Raise SceneError for a name that is not there, or a number that never is; nothing needs to be traced for it."""
    speakers = [one.name for one in built.loudspeakers]
    for what, name, known in (("loudspeaker", loudspeaker, speakers), ("listener", listener, built.listener_names)):
        if name is not None:
            number_of(what, name, known)
    if number < 0:
        raise SceneError("peak", f"{number} is below zero", "give 1 or more, as in arrivals.csv, or 0 for direct sound")


def find_arrival(results: Results, loudspeaker: str | None, listener: str | None, number: int) -> Arrival:
    """Return one arrival by names and number; SceneError as `explain`."""
    refuse_unknown_names(results.built, loudspeaker, listener, number)
    pair = (loudspeaker or results.built.loudspeakers[0].name, listener or results.built.listener_names[0])
    mine = {a.number: a for a in results.responses.arrivals if (a.loudspeaker, a.listener) == pair}
    if number not in mine:
        raise SceneError(
            "peak",
            f"there is no number {number}: {pair[0]} has {len(mine) - 1} arrivals at the {pair[1]}",
            (
                "give 0 for the direct sound"
                if len(mine) == 1
                else f"give 1 to {len(mine) - 1}, as in arrivals.csv, or 0 for the direct sound"
            ),
        )
    return mine[number]


def aim(loudspeaker: PlacedLoudspeaker, way: FloatArray) -> Aim:
    """Where a direction (3,) lies off a loudspeaker's axis: sideways and upward as the room has them, roll or not."""
    forward = loudspeaker.rotation[:, 0]
    level = np.cross([0.0, 0.0, 1.0], forward)
    right = level / np.linalg.norm(level) if np.linalg.norm(level) > 1e-6 else loudspeaker.rotation[:, 1]
    ahead = way / np.linalg.norm(way)
    up = np.cross(forward, right)
    return Aim(
        float(loudspeaker.off_axis_deg(ahead)),
        float(np.degrees(np.arctan2(ahead @ right, ahead @ forward))),
        float(np.degrees(np.arcsin(np.clip(ahead @ up, -1.0, 1.0)))),
    )


def _numbers(built: BuiltScene, arrival: Arrival) -> tuple[int, int]:
    names = [one.name for one in built.loudspeakers]
    return names.index(arrival.loudspeaker), built.listener_names.index(arrival.listener)


def _touches(results: Results, arrival: Arrival) -> tuple[Touch, ...]:
    built, row = results.built, arrival.main.path
    one = results.paths.chosen(np.array([row]))
    met = incidences_with(built, one, np.ones(len(built.room.facets), dtype=np.bool_))
    found = []
    for turn in range(arrival.order):
        facet = built.room.facets[int(met.facet[turn])]
        panels = []
        here = met.chosen(slice(turn, turn + 1))
        pairs = pairs_of(built, here)
        shares = np.abs(shares_of_pairs(built, pairs, here, results.responses.bands.exact_hz))
        for panel, fraction in zip((built.panels[n] for n in pairs.panel.tolist()), shares, strict=True):
            if fraction.max() >= SMALLEST_FRACTION:
                panels.append(MetPanel(panel.name, panel.material, frozen(fraction)))
        angle = float(np.degrees(np.arccos(np.clip(met.cosine[turn], 0.0, 1.0))))
        found.append(
            Touch(
                "surface",
                facet.name,
                facet.owner,
                facet.material,
                int(met.facet[turn]),
                frozen(arrival.main.points[turn].copy()),
                angle,
                tuple(panels),
            )
        )
    return tuple(found)


def _edge_touches(results: Results, arrival: Arrival) -> tuple[Touch, ...]:
    built, edge_paths, row = results.built, results.edge_paths, arrival.main.path
    s, place = _numbers(built, arrival)
    source, ear = built.loudspeakers[s].driver_points[int(edge_paths.driver[row])], built.ears[place]
    owner = built.room.owners[int(edge_paths.owner[row])]
    around = [int(edge_paths.before[row]), -1, int(edge_paths.after[row])]
    stops = [f for k, f in enumerate(around) if k == 1 or f >= 0]
    points = arrival.main.points
    if not len(points):
        points = _over_two_edges(built, owner, source, ear).mean(axis=0, keepdims=True)
    corners = np.vstack([source, points, ear])
    found = []
    for turn, f in enumerate(stops):
        coming, going = (corners[turn + k + 1] - corners[turn + k] for k in (0, 1))
        coming, going = coming / np.linalg.norm(coming), going / np.linalg.norm(going)
        point = frozen(points[turn].copy())
        if f < 0:
            turned = float(np.degrees(np.arccos(np.clip(coming @ going, -1.0, 1.0))))
            found.append(Touch("edge", arrival.surfaces[turn], owner, "", -1, point, turned))
            continue
        facet = built.room.facets[f]
        angle = float(np.degrees(np.arccos(np.clip(abs(coming @ facet.normal), 0.0, 1.0))))
        found.append(Touch("surface", facet.name, facet.owner, facet.material, f, point, angle))
    return tuple(found)


def _over_two_edges(built: BuiltScene, owner: str, source: FloatArray, ear: FloatArray) -> FloatArray:
    """Middles (2, 3) of the two edges of a body over which the way is shortest."""
    room = built.room
    mine = [e for e in room.edges.sticking_out if room.facets[room.edges.facets[e, 0]].owner == owner]
    middles = room.edges.ends[mine].mean(axis=1)
    over = np.linalg.norm(middles - source, axis=1)[:, None] + np.linalg.norm(ear - middles, axis=1)[None, :]
    over = over + np.linalg.norm(middles[:, None] - middles[None], axis=2)
    np.fill_diagonal(over, np.inf)
    return np.asarray(middles[list(np.unravel_index(int(over.argmin()), over.shape))])


def _hidden_by(built: BuiltScene, s: int, place: int) -> tuple[str, ...]:
    from sim.rays.shape_kernels import blocker

    own = built.room.owner_number(built.loudspeakers[s].body)
    hit = [
        blocker(np.array(source), np.array(built.ears[place]), -1, -1, own, *built.room.ray_arrays)
        for source in built.loudspeakers[s].driver_points
    ]
    return tuple(dict.fromkeys(built.room.owners[built.room.owner_of_triangle[k]] for k in hit if k >= 0))


def _what_would_remove(
    results: Results, arrival: Arrival, counted: IntArray
) -> tuple[tuple[PanelTrial, ...], tuple[Furnishing, ...], EdgeTrial | None]:
    built, blueprint, bands = results.built, results.scene.blueprint, results.responses.bands
    s, place = _numbers(built, arrival)
    way = (s, place, len(built.loudspeakers[s].model.drivers))
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    if arrival.diffracted:
        edge_paths, row = results.edge_paths, arrival.main.path
        if panel_of(built, int(edge_paths.edge[row])) >= 0:
            left = frozen(arrival.level_db[counted].copy())
            return (), (), EdgeTrial("", "", 0.0, left, False, "it is the frame of a panel and goes with the panel")
        if edge_paths.edge[row] < 0:
            frequencies = sample_frequencies(bands, POINTS_OF_CHAINS)
        found = edge_trial(
            built,
            blueprint,
            results.scene.folder,
            way,
            int(edge_paths.owner[row]),
            int(edge_paths.edge[row]),
            (int(edge_paths.before[row]), int(edge_paths.after[row])),
            _whole_edge_db(results, arrival, way, frequencies)[counted],
            frequencies[counted],
            blueprint.target.level_db,
        )
        return (), (), found
    panels, furnishings = [], []
    sequence = [int(f) for f in results.paths.facets[arrival.main.path] if f >= 0]
    boxes = {one.body for one in built.loudspeakers}
    seen: set[int] = set()
    for turn, f in enumerate(sequence):
        if f in seen:
            continue
        seen.add(f)
        facet = built.room.facets[f]
        fixed = bool(stays(blueprint, facet.owner))
        upright = abs(facet.normal[2]) < 0.5 and facet.area_m2 > SMALLEST_PANEL_M2 and facet.owner not in boxes
        if facet.owner == "room" or fixed or upright:
            panels.append(panel_trial(built, blueprint, results.paths, arrival, turn, bands, counted))
        if facet.owner != "room" and not fixed and facet.owner not in boxes:
            furnishings.append(_furnishing(results, arrival, sequence, turn, way, frequencies))
    return tuple(panels), tuple(furnishings), None


def _whole_edge_db(
    results: Results, arrival: Arrival, way: tuple[int, int, int], frequencies: FloatArray
) -> FloatArray:
    """Level (band,) of all that an edge sends, also of what is counted with a reflection."""
    rows = np.array([part.path for part in arrival.parts])
    gains = edge_path_gains(results.built, results.edge_paths.chosen(rows), frequencies.ravel()).sum(axis=0)
    energy = np.mean(np.abs(gains.reshape(frequencies.shape)) ** 2, axis=1)
    return level_db(energy / _direct_energy(results, way, frequencies))


def _furnishing(
    results: Results,
    arrival: Arrival,
    sequence: list[int],
    turn: int,
    way: tuple[int, int, int],
    frequencies: FloatArray,
) -> Furnishing:
    """Ways out of a surface of furniture, and what the edges of the piece send after each."""
    built, blueprint = results.built, results.scene.blueprint
    facet = built.room.facets[sequence[turn]]
    owner = built.room.owner_number(facet.owner)
    carried = carries(blueprint, facet.owner)
    piece = next((item for item in blueprint.furniture if item.name == facet.owner), None)
    ways = remedies_for(built, built.loudspeakers[way[0]].driver_points, way[1], sequence, turn, piece)
    reference = _direct_energy(results, way, frequencies)
    edges = np.full((len(ways), len(frequencies)), np.nan)
    refused = [""] * len(ways)
    for k, change in enumerate(ways):
        if not change.works or (change.kind != "cut" and carried):
            continue
        changed = changed_blueprint(blueprint, facet.owner, change.kind, change.direction, change.amount)
        if changed is None:
            continue
        try:
            other = build_scene(changed, results.scene.folder)
        except SceneError as fault:
            refused[k] = fault.found
            continue
        if arrival.order == 1:
            number = other.room.owner_number(facet.owner)
            edges[k] = level_db(body_energy(other, way, number, frequencies) / reference)
    now = level_db(body_energy(built, way, owner, frequencies) / reference)
    return Furnishing(turn, facet.name, facet.owner, ways, carried, frozen(now), frozen(edges), tuple(refused))


def _direct_energy(results: Results, way: tuple[int, int, int], frequencies: FloatArray) -> FloatArray:
    from sim.propagation.surfaces.factors import path_gains

    paths = results.paths
    rows = np.flatnonzero((paths.loudspeaker == way[0]) & (paths.listener == way[1]) & (paths.order == 0))
    total = path_gains(results.built, paths.chosen(rows), frequencies.ravel()).sum(axis=0).reshape(frequencies.shape)
    return np.asarray(np.mean(np.abs(total) ** 2, axis=1))
