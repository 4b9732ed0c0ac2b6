"""Edges kept from one setting to the next: the same bits as worked out anew, and only what moved worked out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.blueprint.reader import SceneFile, parse_scene
from sim.layouts.fields import find_field
from sim.layouts.values import with_value
from sim.placement.built_scene import build_scene
from sim.propagation.edges.kept_pieces import KeptPieces, digest_of, keep_nothing, keep_pieces
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.edges.tracing import trace_edges
from tests.studies.view.view_cases import ROOM

NOWHERE = Path("nowhere")


@pytest.fixture
def kept() -> Iterator[KeptPieces]:
    yield keep_pieces()
    keep_nothing()


def moved(scene: SceneFile, **values: float) -> SceneFile:
    blueprint = scene.blueprint
    for name, value in values.items():
        blueprint = with_value(blueprint, find_field(blueprint, name.replace("__", "."), tied=False), value)
    return replace(scene, blueprint=blueprint)


def traced(scene: SceneFile) -> EdgePathTable:
    return trace_edges(build_scene(scene.blueprint, NOWHERE))


def same(one: EdgePathTable, other: EdgePathTable) -> bool:
    alike = all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("loudspeaker", "driver", "owner", "edge", "before", "after", "points", "length_m", "gains")
    )
    return alike and one.left_out == other.left_out


def test_what_is_read_back_has_the_same_bits_and_only_what_moved_is_worked_out(kept: KeptPieces) -> None:
    start = parse_scene(ROOM, NOWHERE)
    settings = {
        "start": start,
        "panel": moved(start, side__from_front=0.8),
        "ear": moved(start, ear__from_front=1.7),
        "right": moved(start, right__from_left=2.1),
        "right again": moved(start, right__from_left=2.15),
        "start again": start,
        "warmer": replace(
            start,
            blueprint=start.blueprint.model_copy(
                update={"air": start.blueprint.air.model_copy(update={"temperature_c": 30.0})}
            ),
        ),
    }
    work, tables = {}, {}
    for name, scene in settings.items():
        found, made = kept.found, kept.made
        tables[name] = traced(scene)
        work[name] = (kept.found - found, kept.made - made)
    keep_nothing()
    for name, scene in settings.items():
        assert same(tables[name], traced(scene)), name
    whole = work["start"][1]
    assert work["start"][0] == 0 and whole > 20
    assert work["panel"] == work["start again"] == (whole, 0), "edges do not depend on where panels hang"
    assert work["ear"][0] == work["warmer"][0] == 0, "whatever moves at an end, or in the air, is worked out again"
    assert work["right again"][0] > 0, "the chains of the left monitor round the desk"
    assert not same(tables["start"], tables["ear"])


def test_so_much_is_kept_and_no_more() -> None:
    kept = KeptPieces(1000)
    for number in (1, 2, 3, 1):
        assert kept.again(number, lambda n=number: np.full(60, n))[0] == number  # type: ignore[misc]
    assert (kept.found, kept.made) == (0, 4), "480 bytes each: two of them are too many for three in turn"
    assert kept.again(1, lambda: np.zeros(60))[0] == 1 and kept.found == 1


def test_digests_tell_numbers_apart() -> None:
    values = [
        (1, 2),
        (1, (2,)),
        (12,),
        (1.0, 2),
        np.array([1, 2]),
        np.array([1.0, 2.0]),
        np.array([[1.0], [2.0]]),
        (np.array([1.0]), np.array([2.0])),
        ("1", "2"),
        (True, 2),
        (1, np.nextafter(2.0, 3.0)),
    ]
    assert len({digest_of(one) for one in values}) == len(values)
    assert digest_of(np.arange(6.0).reshape(2, 3).T) == digest_of(np.ascontiguousarray(np.arange(6.0).reshape(2, 3).T))
