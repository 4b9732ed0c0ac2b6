"""Mains and near-fields in one room: one set plays, the other stands there, and nothing is added up across both."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from sim.acoustics.levels import energy_from_db
from sim.blueprint.reader import SceneFile, parse_scene, play
from sim.blueprint.sets import names_of_sets, whole
from sim.blueprint.writing import to_toml
from sim.errors import SceneError
from sim.pipeline import build, trace_scene
from sim.responses.measure import measure_of
from sim.responses.records import Results
from sim.showing.archive.results import NAME, read_results, write_results


def loudspeaker(name: str, plays_in: str, place: tuple[float, float, float]) -> str:
    ahead, across, up = place
    return f"""
[[loudspeakers]]
name = "{name}"
set = "{plays_in}"
model = "two-way"
acoustic_axis = {{ from_front = {ahead}, from_left = {across}, up = {up} }}
"""


TEXT = """
[room]
box = { width = 4.0, depth = 5.0, height = 2.6 }
[listener]
ear = { from_front = 2.2, from_left = 2.0, up = 1.2 }
[method]
order = 1
waves_to_hz = 0
""" + "".join(
    loudspeaker(name, plays_in, place)
    for name, plays_in, place in (
        ("near left", "near", (1.3, 1.4, 1.2)),
        ("near right", "near", (1.3, 2.6, 1.2)),
        ("main left", "mains", (0.6, 0.8, 1.3)),
        ("main right", "mains", (0.6, 3.2, 1.3)),
    )
)


def scene(more: str = "") -> SceneFile:
    return parse_scene(more + TEXT, Path("nowhere"))


@lru_cache
def traced(name: str) -> Results:
    return trace_scene(play(scene(), name))


def test_the_first_set_plays_unless_the_scene_or_the_question_says_otherwise() -> None:
    assert [one.name for one in scene().blueprint.loudspeakers] == ["near left", "near right"]
    assert [one.name for one in scene('plays = "mains"\n').blueprint.loudspeakers] == ["main left", "main right"]
    other = play(scene(), "mains")
    assert [one.name for one in other.blueprint.loudspeakers] == ["main left", "main right"]
    assert other.digest != scene().digest
    assert names_of_sets(other.blueprint) == ("mains", "near")


@pytest.mark.parametrize(("name", "others"), [("near", "mains"), ("mains", "near")])
def test_everything_is_of_the_set_that_plays(name: str, others: str) -> None:
    results = traced(name)
    mine = {one.name for one in results.scene.blueprint.loudspeakers}
    assert len(mine) == 2
    assert {one.loudspeaker for one in results.responses.arrivals} == mine
    assert {one.loudspeaker for one in results.responses.verdicts} == mine
    assert set(measure_of(results).loudspeakers) == mine
    assert any(f'the set "{name}" plays; "{others}" never plays with it' in note for note in results.built.notes)


def test_hotspots_are_never_summed_across_sets() -> None:
    # Energies of one set, each re its own direct sound, weighted to one: no more than the louder of the two.
    results = traced("near")
    for one in results.responses.maps:
        assert one.level_db.shape[0] == 2
        loudest = energy_from_db(one.level_db).max(axis=0)
        assert np.all(energy_from_db(one.both_db) <= loudest * (1.0 + 1e-9))


def test_silent_cabinets_stand_in_the_room() -> None:
    built = traced("near").built
    assert {"main left loudspeaker", "main right loudspeaker"} <= set(built.room.owners)
    alone = TEXT[: TEXT.index('[[loudspeakers]]\nname = "main left"')]
    without = build(parse_scene(alone, Path("nowhere")))[1]
    assert len(built.room.facets) == len(without.room.facets) + 12
    touched = {owner for one in traced("near").responses.arrivals for owner in one.owners}
    assert touched & {"main left loudspeaker", "main right loudspeaker"}


def test_a_silent_cabinet_collides_like_any_other() -> None:
    text = TEXT.replace("from_front = 0.6, from_left = 0.8, up = 1.3", "from_front = 1.3, from_left = 1.42, up = 1.2")
    with pytest.raises(SceneError, match="main left"):
        build(parse_scene(text, Path("nowhere")))


def test_what_is_in_no_set_plays_with_every_one() -> None:
    text = TEXT.replace('name = "near left"\nset = "near"', 'name = "near left"')
    read = parse_scene(text, Path("nowhere"))
    assert {one.name for one in read.blueprint.loudspeakers} == {"near left", "near right"}
    assert {one.name for one in play(read, "mains").blueprint.loudspeakers} == {"near left", "main left", "main right"}


def test_a_scene_with_sets_is_written_and_read_back() -> None:
    for one in (scene(), play(scene(), "mains")):
        again = parse_scene(to_toml(one.blueprint), Path("nowhere")).blueprint
        assert again.loudspeakers == one.blueprint.loudspeakers and again.silent == one.blueprint.silent
        assert whole(again).silent == () and len(whole(again).loudspeakers) == 4


def test_results_keep_which_set_played(tmp_path: Path) -> None:
    write_results(traced("mains"), tmp_path / NAME)
    again = read_results(tmp_path / NAME)
    assert again.scene.blueprint.plays == "mains"
    assert [one.name for one in again.scene.blueprint.silent] == ["near left", "near right"]


def test_a_set_that_is_none_is_one_sentence() -> None:
    with pytest.raises(SceneError, match='no set of monitors is called "nera"; perhaps you mean "near"'):
        play(scene(), "nera")
    with pytest.raises(SceneError, match="line 1, plays: no set of monitors is called"):
        scene('plays = "far"\n')
    with pytest.raises(SceneError, match="those that play together"):
        play(parse_scene(TEXT.replace("set = ", "strap = "), Path("nowhere")), "near")
    with pytest.raises(SceneError, match="already taken"):
        parse_scene(TEXT.replace("main left", "near left"), Path("nowhere"))
