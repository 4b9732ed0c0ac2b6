"""The arrivals table: ways, levels, delays both ways of counting, angles, rank."""

from __future__ import annotations

import numpy as np
import pytest

from sim.acoustics.bands import Bands, octave_bands, sample_frequencies
from sim.blueprint.treatment import Target
from sim.placement.built_scene import BuiltScene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.paths import PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.responses.arrivals import (
    NOTCH_GRID_HZ,
    POINTS_PER_OCTAVE,
    first_notches_hz,
    in_target_band,
    in_window,
    list_arrivals,
)
from sim.responses.records import Arrival
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

BANDS = octave_bands()
ROOM = box(5.0, 4.0, 2.6, {"floor": "carpet"})
CARPET = {"carpet": [0.05, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6]}
EAR = (2.6, 2.0, 1.2)
TARGET = Target()


def two_way() -> tuple[BuiltScene, PathTable]:
    pair = [
        loudspeaker((1.0, 1.2, 1.1), "left", model="two-way", tilt_deg="ear"),
        loudspeaker((1.0, 2.9, 1.1), "right", model="two-way", tilt_deg="ear"),
    ]
    built = built_scene_of(
        ROOM,
        pair,
        EAR,
        absorption=CARPET,
        furniture=[desk((1.1, 1.9), (1.0, 3.0), 0.74)],
        listener={"second_seat": {"name": "sofa", "ear": {"from_front": 4.2, "from_left": 2.2, "up": 1.0}}},
    )
    return built, trace_paths(built, 2)


def arrivals_of(target: Target = TARGET, bands: Bands = BANDS) -> tuple[BuiltScene, PathTable, tuple[Arrival, ...]]:
    built, paths = two_way()
    return built, paths, list_arrivals(built, paths, bands, target)


def test_every_path_is_in_exactly_one_arrival() -> None:
    built, paths, arrivals = arrivals_of()
    rows = sorted(part.path for arrival in arrivals for part in arrival.parts)
    assert rows == list(range(len(paths)))
    for arrival in arrivals:
        ways = {tuple(paths.facets[part.path]) for part in arrival.parts}
        assert len(ways) == 1
        names = tuple(built.room.facets[f].name for f in ways.pop() if f >= 0)
        assert arrival.surfaces == names and arrival.order == len(names)
        assert arrival.kind == ("mirrored" if names else "direct")
        assert {built.loudspeakers[paths.loudspeaker[part.path]].name for part in arrival.parts} == {
            arrival.loudspeaker
        }


def test_level_is_the_energy_of_all_drivers_over_the_direct_energy() -> None:
    """Octave by octave: mean of the squared sum of drivers, over that of the direct sound of the same loudspeaker."""
    built, paths, arrivals = arrivals_of()
    for band, frequencies in enumerate(sample_frequencies(BANDS, POINTS_PER_OCTAVE)):
        if band % 3:
            continue
        gains = path_gains(built, paths, frequencies)
        for arrival in arrivals[::5]:
            place = built.listener_names.index(arrival.listener)
            s = [one.name for one in built.loudspeakers].index(arrival.loudspeaker)
            direct = [
                r
                for r in range(len(paths))
                if paths.order[r] == 0 and paths.loudspeaker[r] == s and paths.listener[r] == place
            ]
            reference = np.mean(np.abs(sum(gains[r] for r in direct)) ** 2)
            energy = np.mean(np.abs(sum(gains[part.path] for part in arrival.parts)) ** 2)
            assert arrival.level_db[band] == pytest.approx(10.0 * np.log10(energy / reference), abs=1e-9)
            for part in arrival.parts:
                fraction = np.mean(np.abs(gains[part.path]) ** 2)
                assert part.level_db[band] == pytest.approx(10.0 * np.log10(fraction / reference), abs=1e-9)


def test_time_counts_from_the_direct_sound_or_from_the_loudspeaker() -> None:
    built, paths, arrivals = arrivals_of()
    speed = built.air.speed_of_sound_m_s
    for arrival in arrivals:
        for part in arrival.parts:
            same = (paths.loudspeaker == paths.loudspeaker[part.path]) & (paths.driver == paths.driver[part.path])
            same &= (paths.listener == paths.listener[part.path]) & (paths.order == 0)
            direct = float(paths.length_m[same][0])
            assert part.flight_time_ms == pytest.approx(1000.0 * part.length_m / speed)
            assert part.extra_path_m == pytest.approx(part.length_m - direct, abs=1e-12)
            assert part.delay_ms == pytest.approx(1000.0 * (part.length_m - direct) / speed, abs=1e-12)
            assert part.flight_time_ms - part.delay_ms == pytest.approx(1000.0 * direct / speed)
    assert all(a.main.delay_ms == 0.0 for a in arrivals if a.order == 0)


def test_angles_at_the_loudspeaker_and_at_the_ear() -> None:
    """A bare point on the line to the ear: what leaves it downward at the 3-4-5 angle arrives from as far below."""
    built = built_scene_of(
        box(6.0, 4.0, 2.6),
        [loudspeaker((2.0, 2.0, 1.2), "left")],
        (3.2, 2.0, 1.2),
        furniture=[desk((1.5, 4.0), (1.0, 3.0), 0.75)],
    )
    found = {a.via: a.main for a in list_arrivals(built, trace_paths(built, 1), BANDS, TARGET)}
    angle = np.degrees(np.arctan2(0.9, 1.2))
    assert found["direct"].departure_deg == pytest.approx(0.0, abs=1e-5)
    assert found["desk top"].departure_deg == pytest.approx(angle)
    assert found["desk top"].arrival_elevation_deg == pytest.approx(-angle)
    assert found["desk top"].arrival_azimuth_deg == pytest.approx(0.0, abs=1e-9)
    assert found["front wall"].departure_deg == pytest.approx(180.0, abs=1e-5)
    assert found["front wall"].arrival_azimuth_deg == pytest.approx(0.0, abs=1e-9)
    assert abs(found["rear wall"].arrival_azimuth_deg) == pytest.approx(180.0)
    assert found["right wall"].arrival_azimuth_deg == pytest.approx(np.degrees(np.arctan2(4.0, 1.2)))
    assert found["left wall"].arrival_azimuth_deg == pytest.approx(-np.degrees(np.arctan2(4.0, 1.2)))
    assert found["ceiling"].arrival_elevation_deg > 0.0
    # with the axis turned down by 10 degrees, departures count from there
    turned = built_scene_of(box(6.0, 4.0, 2.6), [loudspeaker((2.0, 2.0, 1.2), "left", tilt_deg=10.0)], (3.2, 2.0, 1.2))
    main = {a.via: a.main for a in list_arrivals(turned, trace_paths(turned, 1), BANDS, TARGET)}
    assert main["direct"].departure_deg == pytest.approx(10.0)
    assert main["floor"].departure_deg == pytest.approx(np.degrees(np.arctan2(2.4, 1.2)) - 10.0)


def test_direct_sound_is_nought_decibels_first_and_without_notches() -> None:
    _, _, arrivals = arrivals_of()
    for arrival in arrivals:
        if arrival.order == 0:
            assert arrival.number == 0
            assert arrival.level_db == pytest.approx(0.0, abs=1e-9)
            assert arrival.notches_hz == (np.inf,) * 3
            assert not arrival.blocked


def test_rank_is_by_harm_inside_the_window_first() -> None:
    target = Target(level_db=-15.0, window_ms=(0.0, 8.0), band_hz=(1000.0, 4000.0))
    built, _, arrivals = arrivals_of(target)
    judged = [4, 5, 6]
    for loudspeaker_name in ("left", "right"):
        for listener in built.listener_names:
            mine = [a for a in arrivals if (a.loudspeaker, a.listener) == (loudspeaker_name, listener)]
            assert [a.number for a in mine] == list(range(len(mine)))
            late = [a.main.delay_ms > 8.0 for a in mine[1:]]
            assert late == sorted(late) and any(late) and not all(late)
            for group in (False, True):
                worst = [a.worst_db for a, is_late in zip(mine[1:], late, strict=True) if is_late == group]
                assert worst == sorted(worst, reverse=True)
            for a in mine:
                assert a.worst_db == max(a.level_db[judged])
                assert a.worst_band_hz == BANDS.nominal_hz[judged][np.argmax(a.level_db[judged])]


def test_the_main_part_is_the_driver_that_plays_the_target_band() -> None:
    """Crossover at 2.2 kHz: above it the tweeter, below it the woofer."""
    for band_hz, driver in (((4000.0, 8000.0), "tweeter"), ((250.0, 500.0), "woofer")):
        both = [a for a in arrivals_of(Target(band_hz=band_hz))[2] if len(a.parts) == 2]
        in_front = [a for a in both if max(part.departure_deg for part in a.parts) < 60.0]
        assert len(in_front) > 10
        assert {a.main.driver for a in in_front} == {driver}


@pytest.mark.parametrize(
    ("band_hz", "octaves"),
    [
        ((1000.0, 8000.0), [1000, 2000, 4000, 8000]),
        ((500.0, 8000.0), [500, 1000, 2000, 4000, 8000]),
        ((2000.0, 2000.1), [2000]),
        ((2500.0, 3000.0), [2000]),  # holds no middle: the nearest octave counts
        ((3000.0, 3500.0), [4000]),
        ((0.0, 70.0), [63]),
    ],
)
def test_octaves_of_a_target(band_hz: tuple[float, float], octaves: list[int]) -> None:
    assert BANDS.nominal_hz[in_target_band(BANDS, Target(band_hz=band_hz))].tolist() == octaves


def test_window_includes_its_ends() -> None:
    _, _, arrivals = arrivals_of()
    one = next(a for a in arrivals if a.order == 1)
    delay = one.main.delay_ms
    assert in_window(one, Target(window_ms=(0.0, delay)))
    assert in_window(one, Target(window_ms=(delay, delay + 1.0)))
    assert not in_window(one, Target(window_ms=(0.0, delay - 1e-6)))
    assert not in_window(one, Target(window_ms=(delay + 1e-6, delay + 1.0)))


@pytest.mark.parametrize("delay_ms", [0.2, 0.6, 0.874, 5.0, 19.0])
def test_notches_of_one_driver_are_odd_halves_of_the_inverse_delay(delay_ms: float) -> None:
    ratio = 0.7 * np.exp(-2j * np.pi * NOTCH_GRID_HZ * delay_ms / 1000.0)
    expected = [500.0 / delay_ms, 1500.0 / delay_ms, 2500.0 / delay_ms]
    assert first_notches_hz(ratio) == pytest.approx(expected, rel=1e-4)


def test_notches_above_hearing_are_none() -> None:
    ratio = np.exp(-2j * np.pi * NOTCH_GRID_HZ * 0.04e-3)
    assert first_notches_hz(ratio) == (pytest.approx(12500.0, rel=1e-4), np.inf, np.inf)
    assert first_notches_hz(np.ones(len(NOTCH_GRID_HZ), complex)) == (np.inf,) * 3


def test_a_rigid_box_of_points_is_energy_by_distance() -> None:
    """Kuttruff, Room Acoustics: every image of a hard box carries (direct/length)^2."""
    built = built_scene_of(box(5.0, 4.0, 3.0), [(1.0, 1.5, 1.2)], (3.5, 2.25, 1.2))
    paths = trace_paths(built, 3)
    for arrival in list_arrivals(built, paths, BANDS, TARGET):
        length = arrival.main.length_m
        assert arrival.level_db[0] == pytest.approx(20.0 * np.log10(paths.length_m[0] / length), abs=5e-3)


def test_what_would_end_a_path_is_named() -> None:
    built = built_scene_of(
        box(6.0, 4.0, 2.6),
        [loudspeaker((2.0, 2.0, 1.2), "left")],
        (3.2, 2.0, 1.2),
        furniture=[desk((1.5, 2.7), (1.0, 3.0), 0.75)],
    )
    found = {a.via: a.main for a in list_arrivals(built, trace_paths(built, 1), BANDS, TARGET)}
    assert found["desk top"].margin_cause == "the point leaves the desk top"
    assert found["desk top"].margin_m == pytest.approx(0.1, abs=1e-6)
    assert found["direct"].margin_cause == "an edge of the desk comes between"
    empty = built_scene_of(box(6.0, 4.0, 2.6), [loudspeaker((2.0, 2.0, 1.2), "left")], (3.2, 2.0, 1.2))
    bare = {a.via: a.main for a in list_arrivals(empty, trace_paths(empty, 1), BANDS, TARGET)}
    assert bare["direct"].margin_cause == "nothing near"


def test_direct_sound_behind_a_block_is_marked_and_stays_the_reference() -> None:
    built = built_scene_of(
        box(6.0, 4.0, 2.6),
        [loudspeaker((2.0, 2.0, 1.2), "left")],
        (3.2, 2.0, 1.2),
        furniture=[block((2.5, 2.6), (1.8, 2.2), (1.0, 1.4))],
    )
    found = {a.via: a for a in list_arrivals(built, trace_paths(built, 1), BANDS, TARGET)}
    assert found["direct"].blocked and found["direct"].number == 0
    assert found["direct"].level_db == pytest.approx(0.0, abs=1e-9)
    assert found["left wall"].level_db[0] == pytest.approx(20.0 * np.log10(1.2 / np.hypot(1.2, 4.0)), abs=5e-3)
    assert not found["left wall"].blocked
