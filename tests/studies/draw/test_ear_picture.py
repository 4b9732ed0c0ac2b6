"""Third-octave smoothing, and what is said to matter most."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.studies.draw.ear_picture import (
    LINES,
    Influence,
    ear_figure,
    lines_of,
    most_influential,
    spread,
    third_octave_db,
)


@given(level=st.floats(-30, 20))
def test_a_flat_response_stays_flat(level):
    frequencies = np.linspace(20.0, 20000.0, 1500)
    smooth = third_octave_db(frequencies, np.full(1500, 10 ** (level / 20), dtype=complex))
    assert smooth == pytest.approx(np.full(1500, level), abs=1e-6)


@settings(max_examples=20)
@given(seed=st.integers(0, 1000), centre=st.integers(200, 800))
def test_smoothing_is_the_mean_energy_of_the_third_octave(seed, centre):
    frequencies = np.geomspace(50.0, 16000.0, 1000)
    random = np.random.default_rng(seed)
    response = random.normal(size=1000) + 1j * random.normal(size=1000)
    middle = frequencies[centre]
    fine = np.geomspace(middle * 2 ** (-1 / 6), middle * 2 ** (1 / 6), 20001)
    energy = np.interp(np.log(fine), np.log(frequencies), np.abs(response) ** 2)
    assert third_octave_db(frequencies, response)[centre] == pytest.approx(10 * np.log10(energy.mean()), abs=0.05)


def test_the_four_that_do_most_come_first_and_what_each_adds_is_its_own(invented):
    response, levels = invented.responses.response, invented.responses.response.levels
    found = most_influential(invented, 0, 0)
    assert 2 <= len(found) <= 4
    strength = [thing.rms_db for thing in found]
    assert strength == sorted(strength, reverse=True)
    judged = levels.bands.lower_hz >= invented.responses.transition_hz
    others = [
        np.sqrt(np.mean((levels.whole_db[0, 0, 0, judged] - levels.whole_db[0, 0, case, judged]) ** 2))
        for case, name in enumerate(levels.without)
        if case and name not in {thing.name for thing in found}
    ]
    assert max(others) <= strength[-1]
    for thing in found:
        assert np.array_equal(thing.adds, response.by_surface[0, 0, response.surfaces.index(thing.name)])


def test_a_weak_panel_takes_the_last_place(invented):
    response, levels = invented.responses.response, invented.responses.response.levels
    weak = levels.whole_db[:, :, :1] + 0.4
    reported = replace(
        levels,
        kinds=(*levels.kinds, "panel"),
        without=(*levels.without, "cloud"),
        whole_db=np.concatenate([levels.whole_db, weak], axis=2),
    )
    adds = 0.05 * response.total[:, :, None]
    changed = replace(response, levels=reported, panels=("cloud",), by_panel=adds)
    with_panel = replace(invented, responses=replace(invented.responses, response=changed))
    plain, found = most_influential(invented, 0, 0), most_influential(with_panel, 0, 0)
    assert [thing.name for thing in found] == [*(thing.name for thing in plain[:3]), "cloud"]
    assert (found[-1].kind, found[-1].rms_db) == ("panel", pytest.approx(0.4))
    assert np.array_equal(found[-1].adds, adds[0, 0, 0])
    ear_figure(with_panel)


def test_names_keep_their_lines_from_one_loudspeaker_to_the_next():
    def things(*names):
        return [Influence("surface", name, 1.0, np.zeros(1)) for name in names]

    first, second, third = lines_of([things("a", "b", "c", "d"), things("e", "c", "a", "f"), things("f", "b")])
    assert first == list(LINES)
    assert (second[1], second[2]) == (first[2], first[0])
    assert len(set(map(str, second))) == 4
    assert third == [second[3], first[1]] or len(set(map(str, third))) == 2


@given(values=st.lists(st.floats(-10, 10), min_size=1, max_size=6), apart=st.floats(0.1, 4))
def test_names_beside_lines_stand_apart_in_the_order_of_the_lines(values, apart):
    places = spread(np.array(values), apart)
    order = np.argsort(values, kind="stable")
    assert np.all(np.diff(places[order]) >= apart - 1e-9)
    if np.all(np.diff(np.sort(values)) >= apart):
        assert places == pytest.approx(values)
    assert places.mean() == pytest.approx(np.mean(values), abs=1e-9)
