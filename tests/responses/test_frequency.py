"""The complex response at the ear: a plain sum of paths, and what is left without each surface."""

from __future__ import annotations

import numpy as np
import pytest

from sim.placement.built_scene import BuiltScene
from sim.propagation.edges.tracing import trace_edges
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import path_gains
from sim.responses.ear_records import EarResponse
from sim.responses.frequency import LATEST_MS, ear_response, response_frequencies, smoothed_db
from tests.built_scenes import block, box, built_scene_of, desk, loudspeaker

EAR = (2.6, 2.0, 1.2)
SURFACES = ("front wall", "rear wall", "left wall", "right wall", "floor", "ceiling")


def traced(
    order: int = 1, surfaces: dict[str, str] | None = None, model: str = "two-way"
) -> tuple[BuiltScene, EarResponse]:
    room = box(5.0, 4.0, 2.6, surfaces or {})
    built = built_scene_of(room, [loudspeaker((1.0, 1.2, 1.1), "left", model=model, tilt_deg="ear")], EAR)
    return built, ear_response(built, trace_paths(built, order))


def test_frequencies_of_the_transform() -> None:
    frequencies = response_frequencies()
    assert frequencies[0] == 0.0
    assert frequencies[1] == pytest.approx(96000.0 / 8192.0)
    assert 21_980.0 < frequencies[-1] <= 22_000.0


@pytest.mark.parametrize("order", [1, 2])
def test_total_is_the_plain_sum_of_all_paths(order: int) -> None:
    built, response = traced(order)
    paths = trace_paths(built, order)
    frequencies = response.frequencies_hz
    gains = path_gains(built, paths, frequencies)
    distance = float(np.linalg.norm(built.ears[0] - built.loudspeakers[0].axis_point))
    turn = distance * np.exp(2j * np.pi * frequencies * distance / built.air.speed_of_sound_m_s)
    assert response.total[0, 0] == pytest.approx(sum(gains) * turn, rel=1e-9)
    direct = sum(gains[row] for row in range(len(paths)) if paths.order[row] == 0)
    assert response.direct[0, 0] == pytest.approx(direct * turn, rel=1e-9)
    for number, name in enumerate(response.surfaces):
        touching = [
            row for row in range(len(paths)) if name in [built.room.facets[f].name for f in paths.facets[row] if f >= 0]
        ]
        assert response.by_surface[0, 0, number] == pytest.approx(sum(gains[row] for row in touching) * turn, rel=1e-9)


def test_a_point_loudspeaker_alone_is_flat_at_nought_decibels() -> None:
    _, response = traced(model="point")
    level = 20.0 * np.log10(np.abs(response.direct[0, 0]))
    # air takes 0.02 dB in 1.8 m at 2 kHz, 1.1 dB at 22 kHz
    assert level[:150] == pytest.approx(0.0, abs=0.02)
    assert level[-1] > -1.2
    assert np.angle(response.direct[0, 0]) == pytest.approx(0.0, abs=1e-9)


def test_a_two_way_on_its_axis_is_flat_to_the_air() -> None:
    """The tweeter points at the ear and the woofer is 15 cm below: near the crossover they part a little."""
    _, response = traced()
    level = 20.0 * np.log10(np.abs(response.direct[0, 0]))
    assert np.abs(level[10:900]).max() < 0.6


@pytest.mark.parametrize("surface", SURFACES)
def test_total_without_a_surface_is_the_room_with_that_surface_open(surface: str) -> None:
    """First order: a path touches one surface, so taking it away is the same as letting it swallow all."""
    _, whole = traced()
    number = whole.surfaces.index(surface)
    _, opened = traced(surfaces={surface: "open"})
    assert whole.total - whole.by_surface[:, :, number] == pytest.approx(opened.total, abs=1e-12)
    assert np.abs(whole.by_surface[0, 0, number]).max() > 0.01


def test_at_second_order_too() -> None:
    _, whole = traced(2)
    _, opened = traced(2, {"ceiling": "open"})
    number = whole.surfaces.index("ceiling")
    assert whole.total - whole.by_surface[:, :, number] == pytest.approx(opened.total, abs=1e-12)


def test_all_surfaces_open_leave_the_direct_sound() -> None:
    _, response = traced(2, dict.fromkeys(SURFACES, "open"))
    assert response.total == pytest.approx(response.direct, abs=1e-12)


def test_hidden_direct_sound_is_out_of_the_total_but_kept_as_reference() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6, "open"), [(1.0, 2.0, 1.2)], EAR, furniture=[block((1.7, 1.9), (1.5, 2.5), (0.9, 1.5))]
    )
    response = ear_response(built, trace_paths(built, 1))
    assert np.abs(response.direct[0, 0, 0]) == pytest.approx(1.0)
    assert np.abs(response.total).max() == 0.0


def test_without_what_alone_hides_it_the_direct_sound_is_heard() -> None:
    """In a room that swallows all, nothing but the direct sound is left when the block is gone."""
    hiding = [block((1.7, 1.9), (1.5, 2.5), (0.9, 1.5), name="block")]
    for more in ([], [block((2.1, 2.2), (1.5, 2.5), (0.9, 1.5), name="second")]):
        built = built_scene_of(box(5.0, 4.0, 2.6, "open"), [(1.0, 2.0, 1.2)], EAR, furniture=hiding + more)
        response = ear_response(built, trace_paths(built, 1), trace_edges(built, 1))
        left = response.total - response.by_piece[:, :, response.pieces.index("block")]
        if more:  # the second one still hides it; what bends round the second alone is left
            assert np.abs(left[0, 0, 100]) < 0.5 * np.abs(response.direct[0, 0, 100])
        else:
            assert left == pytest.approx(response.direct, abs=1e-9)


def test_drivers_add_up_to_the_whole_and_none_is_left_over() -> None:
    room = box(5.0, 4.0, 2.6)
    pair = [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way"), loudspeaker((1.0, 2.8, 1.1), "right")]
    built = built_scene_of(room, pair, EAR)
    paths = trace_paths(built, 2)
    response = ear_response(built, paths, trace_edges(built, 1))
    assert response.by_driver.shape[:3] == (2, 2, 1)
    assert response.by_driver.sum(axis=1) == pytest.approx(response.total, abs=1e-12)
    assert np.all(response.by_driver[1, 1] == 0.0)
    alone = ear_response(built, paths.chosen(np.flatnonzero(paths.driver == 1)))
    no_edges = ear_response(built, paths)
    assert no_edges.by_driver[0, 1] == pytest.approx(alone.total[0], abs=1e-12)


def test_a_piece_is_all_its_sides_and_edges() -> None:
    """Without the desk there is left what was there before it came, but for the floor that it hides."""
    swallow = box(5.0, 4.0, 2.6, {"all": "open", "ceiling": "hard", "floor": "open"})
    source = [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way")]
    bare = built_scene_of(swallow, source, EAR)
    with_desk = built_scene_of(swallow, source, EAR, furniture=[desk((1.3, 1.9), (1.0, 3.0), 0.74, name="desk")])
    before, after = (ear_response(one, trace_paths(one, 2), trace_edges(one, 2)) for one in (bare, with_desk))
    assert {"desk top"} < set(after.surfaces)
    desk_adds = after.by_piece[:, :, after.pieces.index("desk")]
    assert after.total - desk_adds == pytest.approx(before.total, abs=1e-9)
    assert np.abs(desk_adds).max() > 0.1


PANEL = {"surface": "left wall", "from_front": (1.4, 2.0), "up": (0.6, 1.8), "material": "100 mm wool"}


def test_without_a_panel_is_the_room_in_which_it_was_never_hung() -> None:
    room = box(5.0, 4.0, 2.6)
    panels = [
        {**PANEL, "name": "first"},
        {**PANEL, "name": "next", "from_front": (2.01, 2.6)},
        {**PANEL, "name": "other side", "surface": "right wall"},
    ]
    source = [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way")]
    furniture = [desk((1.3, 1.9), (1.0, 3.0), 0.74)]
    hung = built_scene_of(room, source, EAR, panels=panels, furniture=furniture)
    whole = ear_response(hung, trace_paths(hung, 2), trace_edges(hung, 2))
    assert whole.panels == ("first", "next", "other side")
    assert np.abs(whole.by_panel).max(axis=3).min() > 0.02
    for number in range(3):
        others = [panel for place, panel in enumerate(panels) if place != number]
        built = built_scene_of(room, source, EAR, panels=others, furniture=furniture)
        bare = ear_response(built, trace_paths(built, 2), trace_edges(built, 2))
        # how finely shares are worked out depends a little on which paths are worked out together
        assert whole.total - whole.by_panel[:, :, number] == pytest.approx(bare.total, abs=2e-5)


def test_paths_too_late_for_the_transform_are_left_out() -> None:
    built = built_scene_of(box(28.0, 4.0, 2.6, "hard"), [(1.0, 2.0, 1.2)], EAR)
    paths = trace_paths(built, 1)
    late = 1000.0 * (paths.length_m - paths.length_m[0]) / built.air.speed_of_sound_m_s > LATEST_MS
    assert late.sum() == 1
    response = ear_response(built, paths)
    gains = path_gains(built, paths, response.frequencies_hz)
    assert np.abs(response.total[0, 0]) == pytest.approx(np.abs(gains[~late].sum(axis=0)) * paths.length_m[0], rel=1e-9)


def test_smoothing_is_a_mean_of_energy_and_keeps_what_is_flat() -> None:
    frequencies = response_frequencies()
    assert smoothed_db(frequencies, np.full(len(frequencies), 2.0 + 0.0j)) == pytest.approx(20.0 * np.log10(2.0))
    ripple = 1.0 + 0.5 * np.exp(-2j * np.pi * frequencies * 5e-3)
    smooth = smoothed_db(frequencies, ripple, 3.0)
    for place in (300, 900, 1500):
        low, high = frequencies[place] * 2 ** (-1 / 6), frequencies[place] * 2 ** (1 / 6)
        inside = (frequencies >= low) & (frequencies <= high)
        assert smooth[place] == pytest.approx(10.0 * np.log10(np.mean(np.abs(ripple[inside]) ** 2)), abs=0.15)
    # energy of many ripples: 1 + 0.25
    assert smooth[1000:1500] == pytest.approx(10.0 * np.log10(1.25), abs=0.1)


def test_levels_are_told_without_room_surfaces_and_whole_pieces_only() -> None:
    built = built_scene_of(
        box(5.0, 4.0, 2.6),
        [loudspeaker((1.0, 1.2, 1.1), "left", model="two-way")],
        EAR,
        furniture=[desk((1.3, 1.9), (0.8, 2.4), 0.74)],
    )
    levels = ear_response(built, trace_paths(built, 1)).levels
    reported = set(zip(levels.kinds, levels.without, strict=True))
    assert {("surface", "floor"), ("surface", "left wall"), ("piece", "desk")} <= reported
    assert {name for kind, name in reported if kind == "surface"} <= set(SURFACES)
