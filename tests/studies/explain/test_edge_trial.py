"""Edges out of the way: the same energy as the traced bends, and pieces that are really changed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.bands import sample_frequencies
from sim.acoustics.levels import level_db
from sim.blueprint.reader import parse_scene
from sim.propagation.edges.table import edge_path_gains
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import POINTS_PER_OCTAVE
from sim.studies.explain.edge_trial import ENDS, carries, changed_blueprint, edge_energy
from sim.studies.explain.explanation import explain
from tests.explained import POINT, TWO_WAY, traced

ON_DESK = TWO_WAY.replace(
    "acoustic_axis = { from_front = 62, from_left = 112, up = 122 }",
    'acoustic_axis = { from_front = 62, from_left = 112 }\nstanding = "desk"',
)


def test_energy_of_an_edge_is_that_of_the_traced_arrival() -> None:
    """Hard desk, no air to speak of below 2 kHz: single edges and mirrors beside them agree with the table of bends."""
    results = traced(POINT)
    bands = results.responses.bands
    frequencies = sample_frequencies(bands, POINTS_PER_OCTAVE)
    direct = np.flatnonzero(results.paths.order == 0)
    gains = path_gains(results.built, results.paths.chosen(direct), frequencies.ravel()).sum(axis=0)
    reference = np.mean(np.abs(gains.reshape(frequencies.shape)) ** 2, axis=1)
    compared = 0
    for arrival in results.responses.arrivals:
        row = arrival.main.path
        edge_paths = results.edge_paths
        if (
            not arrival.diffracted
            or edge_paths.edge[row] < 0
            or edge_paths.before[row] >= 0
            or edge_paths.after[row] >= 0
        ):
            continue
        if "desk" not in arrival.surfaces[0]:
            continue
        energy = edge_energy(
            results.built, (0, 0, 1), int(edge_paths.owner[row]), int(edge_paths.edge[row]), (-1, -1), frequencies
        )
        mine = edge_paths.chosen(np.array([row]))  # all of it, also what is counted with the reflection from the top
        whole = edge_path_gains(results.built, mine, frequencies.ravel())[0].reshape(frequencies.shape)
        traced_db = level_db(np.mean(np.abs(whole) ** 2, axis=1) / reference)
        assert level_db(energy / reference)[2:6] == pytest.approx(traced_db[2:6], abs=0.1)
        compared += 1
    assert compared >= 2


def whole_edge_db(results, mine, frequencies: np.ndarray) -> np.ndarray:
    """All that an edge sends, also what is counted with a reflection."""
    direct = np.flatnonzero(results.paths.order == 0)
    shape = (-1, *frequencies.shape)
    sent = path_gains(results.built, results.paths.chosen(direct), frequencies.ravel()).reshape(shape).sum(axis=0)
    whole = edge_path_gains(results.built, mine, frequencies.ravel()).reshape(shape).sum(axis=0)
    return level_db(np.mean(np.abs(whole) ** 2, axis=1) / np.mean(np.abs(sent) ** 2, axis=1))


def test_what_is_left_is_no_more_than_before() -> None:
    results = traced(POINT)
    for arrival in [a for a in results.responses.arrivals if a.diffracted and "desk" in a.via][:3]:
        explained = explain(results, number=arrival.number)
        assert explained.edge is not None and not explained.panels and not explained.furnishings
        if explained.edge.amount_m:
            mine = results.edge_paths.chosen(np.array([arrival.main.path]))
            now = whole_edge_db(results, mine, sample_frequencies(explained.bands, POINTS_PER_OCTAVE))
            assert explained.edge.left_db.max() < now[explained.judged].max()
            assert explained.edge.kind in ("move", "cut")


def test_pieces_are_changed_as_told() -> None:
    blueprint = parse_scene(TWO_WAY, Path()).blueprint

    def piece(kind: str, direction: str, amount: float, name: str):
        changed = changed_blueprint(blueprint, name, kind, direction, amount)
        assert changed is not None
        return next(item for item in changed.furniture if item.name == name)

    assert piece("cut", "listener-side edge", 0.1, "desk").from_front == pytest.approx((0.55, 1.20))
    assert piece("cut", "left edge", 0.1, "desk").from_left == pytest.approx((1.0, 2.5))
    assert piece("move", "toward the front wall", 0.1, "desk").from_front == pytest.approx((0.45, 1.20))
    assert piece("move", "down", 0.1, "screen").at.up == pytest.approx(0.76)
    assert piece("tilt", "far edge down", 5.0, "desk").tilt_deg == -5.0
    assert changed_blueprint(blueprint, "nothing", "move", "up", 0.1) is None
    assert changed_blueprint(blueprint, "desk", "move", "up", 0.1) is None
    assert changed_blueprint(blueprint, "desk", "cut", "upper edge", 0.1) is None
    assert set(ENDS) >= {"listener-side edge", "far edge"}


def test_a_desk_that_carries_a_loudspeaker_is_not_moved() -> None:
    assert carries(parse_scene(ON_DESK, Path()).blueprint, "desk") == ("left",)
    assert carries(parse_scene(TWO_WAY, Path()).blueprint, "desk") == ()
    results = traced(ON_DESK)
    number = next(
        a.number
        for a in results.responses.arrivals
        if a.diffracted and a.loudspeaker == "left" and a.owners == ("desk",)
    )
    explained = explain(results, "left", "ear", number)
    assert explained.edge is not None and explained.edge.kind != "move"


def test_edges_of_the_room_are_left_alone() -> None:
    """A step in the wall is part of the room."""
    room = """box = { width = 3.4, depth = 4.2, height = 2.4 }"""
    corners = [(0, 0), (0, 3.4), (4.2, 3.4), (4.2, 0.4), (1.2, 0.4), (1.2, 0)]
    outline = ", ".join(f"{{ from_front = {x}, from_left = {y} }}" for x, y in corners)
    results = traced(POINT.replace(room, f"outline = [{outline}]\nheight = 2.4"))
    number = next(a.number for a in results.responses.arrivals if a.diffracted and a.owners == ("room",))
    explained = explain(results, number=number)
    assert (
        explained.edge is not None and explained.edge.why == "it belongs to the room" and explained.edge.amount_m == 0.0
    )
