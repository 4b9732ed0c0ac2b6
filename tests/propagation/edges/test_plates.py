"""Bare plates: against boundary elements, continuity across every border, and laws that hold for any plate."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sim
from sim.errors import SceneError
from sim.propagation.edges.convex import fraction_of_direct, fraction_of_mirror, prism, rim_fade
from sim.propagation.edges.plates import FEW_TURNS_RAD, body_pressure, chain_groups, octaves, plate_total
from tests.builders.plate_bem import references

DESK = (1.6, 0.75, 0.03)
QUIET = 10.0 ** (-15.0 / 20.0)


def decibels(values: np.ndarray) -> np.ndarray:
    return 20.0 * np.log10(np.abs(values))


def errors(order: int, shadow: bool) -> np.ndarray:
    """Error of the level in dB, one for every frequency of every pair where the reference is above -15 dB."""
    found = []
    for r in references():
        body = prism(plate_corners(r.size_m), r.size_m[2])
        if (fraction_of_direct(body, r.source, r.ear) == 0.0) == shadow:
            total = plate_total(r.size_m, r.source, r.ear, r.frequencies_hz, order=order)
            found.append(decibels(total / r.total)[np.abs(r.total) > QUIET])
    return np.abs(np.concatenate(found))


def plate_corners(size: tuple[float, float, float]) -> np.ndarray:
    x, y, z = 0.5 * size[1], 0.5 * size[0], 0.5 * size[2]
    return np.array([[-x, -y, z], [x, -y, z], [x, y, z], [-x, y, z]])


@pytest.mark.parametrize(
    ("order", "rms", "most_of_them", "at_most"), [(1, 1.1, 1.6, 4.2), (2, 0.4, 0.6, 1.3), (3, 0.15, 0.2, 0.8)]
)
def test_level_against_boundary_elements_where_lit(order: int, rms: float, most_of_them: float, at_most: float) -> None:
    """Five plates, 10 to 50 mm thick, 200 Hz to 8 kHz; the saved values are within some 0.05 dB of converged."""
    off = errors(order, shadow=False)
    assert np.sqrt(np.mean(off**2)) < rms
    assert np.quantile(off, 0.9) < most_of_them
    assert off.max() < at_most


@pytest.mark.parametrize(("order", "rms"), [(2, 0.8), (3, 0.4)])
def test_level_against_boundary_elements_in_shadow(order: int, rms: float) -> None:
    assert np.sqrt(np.mean(errors(order, shadow=True) ** 2)) < rms


Path = Callable[[float], tuple[np.ndarray, np.ndarray]]
SOURCE, EAR = np.array([-0.2, -0.3, 0.25]), np.array([0.65, 0.1, 0.45])
BEHIND, LOW = np.array([-0.8, 0.5, 0.0]), np.array([-0.5, -0.3, -0.25])
BORDERS: dict[str, Path] = {
    "mirror point over the front edge": lambda u: (SOURCE, np.array([1.317 + u, 0.1, 0.4])),
    "mirror point over a corner": lambda u: (np.array([0.3, 0.7, 0.3]), np.array([0.45 + u, 0.9 + u, 0.3])),
    "shadow over the rear edge": lambda u: (BEHIND + np.array([0, 0, -0.0975 + u]), EAR),
    "ear through the upper face's plane": lambda u: (SOURCE, np.array([0.9, 0.1, 0.015 + u])),
    "source through the upper face's plane": lambda u: (BEHIND + np.array([0, 0, 0.015 + u]), EAR),
    "source through the lower face's plane": lambda u: (BEHIND + np.array([0, 0, -0.015 + u]), EAR),
    "ear through the front rim's plane, above": lambda u: (SOURCE, np.array([0.375 + u, 0.1, 0.45])),
    "ear through the front rim's plane, source below": lambda u: (LOW, np.array([0.375 + u, 0.1, 0.45])),
    "ear through a side rim's plane": lambda u: (SOURCE, np.array([0.65, 0.8 + u, 0.45])),
}


@pytest.mark.parametrize("order", [2, 3])
@pytest.mark.parametrize("border", BORDERS)
def test_nothing_jumps_when_something_moves_by_a_millimetre(border: str, order: int) -> None:
    """The step over the border differs from the steps beside it by less than 0.05 dB."""
    frequencies = np.array([200.0, 700.0, 2000.0, 8000.0])
    levels = []
    for u in np.arange(-2.5, 3.0) * 1e-3:
        source, ear = BORDERS[border](u)
        total = plate_total(DESK, source, ear, frequencies, order=order)
        levels.append(decibels(total / np.linalg.norm(ear - source)))
    steps = np.diff(levels, axis=0)
    assert np.abs(steps[2] - 0.5 * (steps[1] + steps[3])).max() < 0.05


points = st.tuples(*[st.floats(-1.5, 1.5)] * 3).map(np.array)


@settings(max_examples=25, deadline=None)
@given(points, points, st.sampled_from([1, 2, 3]))
def test_source_and_ear_may_change_places(source: np.ndarray, ear: np.ndarray, order: int) -> None:
    body = prism(plate_corners(DESK), DESK[2])
    if body.contains(source) or body.contains(ear) or np.linalg.norm(source - ear) < 0.1:
        return
    there, back = (plate_total(DESK, a, b, [300.0, 1500.0], order=order) for a, b in ((source, ear), (ear, source)))
    assert there == pytest.approx(back, abs=2e-3)


def test_a_wide_plate_is_a_mirror_and_a_tiny_one_is_nothing() -> None:
    source, ear, image = np.array([-0.3, 0.0, 0.31]), np.array([0.4, 0.1, 0.41]), np.array([-0.3, 0.0, -0.29])
    frequencies = np.array([500.0, 1000.0])
    direct, mirrored = np.linalg.norm(ear - source), np.linalg.norm(ear - image)
    k = 2.0 * np.pi * frequencies / 343.2
    total = plate_total((12.0, 12.0, 0.02), source, ear, frequencies)
    assert total == pytest.approx(1.0 + direct / mirrored * np.exp(-1j * k * (mirrored - direct)), abs=0.06)
    assert plate_total((0.01, 0.01, 0.01), source, ear, frequencies) == pytest.approx(np.ones(2), abs=0.01)


def test_a_plate_that_shrinks_vanishes_and_one_that_grows_becomes_a_plane() -> None:
    """Halved and halved again, it sends less and less, down to the quarter of a percent to which chains are summed.

    Doubled and doubled again, the error against the infinite plane falls, in the end below 0.05 of the direct sound:
    what is left is the edges, which are farther and farther off.
    """
    source, ear, image = np.array([-0.3, 0.0, 0.31]), np.array([0.4, 0.1, 0.41]), np.array([-0.3, 0.0, -0.29])
    frequencies = np.geomspace(300.0, 900.0, 12)
    direct, mirrored = np.linalg.norm(ear - source), np.linalg.norm(ear - image)
    plane = 1.0 + direct / mirrored * np.exp(-2j * np.pi * frequencies / 343.2 * (mirrored - direct))
    small = [
        np.abs(plate_total((side, side, 0.02 * side / 0.2), source, ear, frequencies) - 1.0).max()
        for side in (0.2, 0.1, 0.05, 0.025)
    ]
    assert (np.array(small[1:]) < 0.6 * np.array(small[:-1])).all()
    assert small[-1] < 0.003
    large = [
        np.sqrt(np.mean(np.abs(plate_total((side, side, 0.02), source, ear, frequencies) - plane) ** 2))
        for side in (0.8, 1.6, 3.2, 6.4, 12.8)
    ]
    assert (np.diff(large) < 0.0).all()
    assert large[-1] < 0.05


def test_a_turned_plate_by_its_corners_is_the_same_plate() -> None:
    turn = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    shift = np.array([2.0, -1.0, 0.7])
    corners = plate_corners(DESK) @ turn.T + shift
    ends = [p @ turn.T + shift for p in (SOURCE, EAR)]
    turned = plate_total(None, *ends, [300.0, 900.0], corners=corners, thickness_m=0.03)
    assert turned == pytest.approx(plate_total(DESK, SOURCE, EAR, [300.0, 900.0]), abs=5e-4)
    assert sim.plate_total is plate_total


def test_a_directional_source_drives_each_edge_by_what_it_radiates_toward_it() -> None:
    body = prism(plate_corners(DESK), DESK[2])
    k = np.array([4.0, 15.0])
    plain = body_pressure(body, SOURCE, EAR, k)
    scaled = body_pressure(body, SOURCE, EAR, k, radiation=lambda ways: np.full((len(ways), 2), 0.5j))
    assert scaled[1:] == pytest.approx(0.5j * plain[1:])
    assert (scaled[0] == 0.0).all()
    up = body_pressure(body, SOURCE, EAR, k, radiation=lambda ways: (ways[:, 2:] > 0.0) * np.ones(2, complex))
    assert np.abs(up[1:]).max() == 0.0


def test_shares_on_the_borders_are_halves_and_quarters() -> None:
    body = prism(plate_corners((2.0, 2.0, 0.5)), 0.5)
    assert fraction_of_direct(body, np.array([-2.0, 0.0, 0.25]), np.array([2.0, 0.0, 0.25])) == 0.5
    assert fraction_of_direct(body, np.array([-2.0, 0.0, 0.0]), np.array([2.0, 0.0, 0.0])) == 0.0
    assert fraction_of_mirror(body, np.array([0.5, 0.0, 1.25]), np.array([1.5, 0.0, 1.25]), 0)[0] == 0.5
    assert fraction_of_mirror(body, np.array([0.5, 0.5, 1.25]), np.array([1.5, 1.5, 1.25]), 0)[0] == 0.25
    assert fraction_of_mirror(body, np.array([0.5, 0.0, 1.25]), np.array([0.5, 0.0, -1.25]), 0)[0] == 0.0


def test_only_edges_across_a_grazed_face_fade() -> None:
    body = prism(plate_corners(DESK), DESK[2])
    middles = body.wedges[0] + 0.5 * body.wedges[4][:, None] * body.wedges[1]
    assert rim_fade(body, np.array([0.0, 0.0, 0.02]))[middles[:, 2] > 0.01] == pytest.approx(np.ones(4))
    grazing = rim_fade(body, np.array([-0.8, 0.0, 0.0151]))
    upper_front = np.argmin(np.linalg.norm(middles - [0.375, 0.0, 0.015], axis=1))
    upper_rear = np.argmin(np.linalg.norm(middles - [-0.375, 0.0, 0.015], axis=1))
    assert grazing[upper_front] < 1e-3
    assert grazing[upper_rear] > 0.99


def test_low_octaves_of_chains_go_together_and_every_frequency_is_taken_once() -> None:
    k = np.geomspace(0.4, 200.0, 150)
    for longest in (0.05, 0.6, 1.6, 5.0):
        groups = chain_groups(k, longest)
        assert sorted(np.concatenate(groups)) == list(range(150))
        assert sum(k[group].max() * longest < FEW_TURNS_RAD for group in groups) <= 1
    assert len(chain_groups(k, 0.05)) == 1


def test_octaves_take_every_frequency_once() -> None:
    k = np.geomspace(0.5, 150.0, 40)
    assert sorted(np.concatenate(octaves(k)).tolist()) == list(range(40))
    assert all(k[group].max() <= 2.0 * k[group].min() * (1 + 1e-9) for group in octaves(k)[:-1])


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"source": (0.0, 0.0, 0.0)}, "source: .* inside"),
        ({"ear": (0.0, np.nan, 1.0)}, "ear: .* finite"),
        ({"ear": (0.0, 0.0, 0.5)}, "one place"),
        ({"order": 4}, "order: found 4"),
        ({"size_m": (1.0, 0.0, 0.1)}, "size_m: found"),
        ({"corners": plate_corners(DESK)}, "both given"),
        ({"size_m": None, "corners": plate_corners(DESK)}, "thickness_m: found None"),
        ({"size_m": None, "corners": np.zeros((2, 3)), "thickness_m": 0.1}, "corners: found shape"),
    ],
)
def test_impossible_plates_are_refused_in_one_sentence(change: dict, words: str) -> None:
    sound = {"size_m": DESK, "source": (0.0, 0.0, 0.5), "ear": (1.0, 0.0, 0.5), "frequencies_hz": [100.0]}
    with pytest.raises(SceneError, match=words):
        plate_total(**{**sound, **change})
