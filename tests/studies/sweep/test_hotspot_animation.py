"""The animation of hotspots: as many frames as settings, moving, small, and the same every time."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from PIL import Image

from sim.layouts.records import DONE, IMPOSSIBLE
from sim.studies.sweep.animation_panel_picture import board_facets, boards_of
from sim.studies.sweep.animation_picture import (
    MOST_BYTES,
    MOST_FRAMES,
    animation_axis,
    animation_frames,
    animation_points,
    draw_animation,
    frame_figure,
    gif_bytes,
    save_animation,
    still_figure,
)
from tests.showing.drawn_words import faults, words_of
from tests.studies.sweep.swept_table import TABLE, found, one_field, side_by_side, two_fields, with_impossible


def silent(_: str) -> None:
    return None


@cache
def tilted():
    return found(TABLE, {"desk.tilt": [0, 5, 10]})


@cache
def frames():
    sweep, task, _ = tilted()
    return animation_frames(sweep, task, 0, silent)


def read_gif(data: bytes) -> list[np.ndarray]:
    with Image.open(io.BytesIO(data)) as image:
        shown = []
        for number in range(image.n_frames):
            image.seek(number)
            shown.append(np.asarray(image.convert("RGB")).astype(int))
    return shown


def test_animation_and_stills_are_written_under_fixed_names(tmp_path):
    sweep, task, findings = tilted()
    said: list[str] = []
    made = draw_animation(sweep, task, findings, tmp_path, said.append)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hotspots.gif", "hotspots_first_last.png"]
    assert sorted(path.name for path in made) == ["hotspots.gif", "hotspots_first_last.png"]
    assert said[:3] == [f"mapping hotspots, frame {n} of 3" for n in (1, 2, 3)]
    data = (tmp_path / "hotspots.gif").read_bytes()
    assert data[:6] == b"GIF89a" and len(data) < MOST_BYTES
    shown = read_gif(data)
    assert len(shown) == 3
    assert all((one != other).mean() > 0.002 for one, other in pairwise(shown))
    again = save_animation(sweep, task, frames(), 0, tmp_path / "again" / "hotspots.gif")
    assert again.read_bytes() == data


def test_colours_of_hotspots_and_loudspeakers_survive_the_animation(tmp_path):
    from matplotlib.colors import to_rgb

    from sim.showing.style import SCALE, looks

    sweep, task, _ = tilted()
    path = save_animation(sweep, task, frames(), 0, tmp_path / "hotspots.gif")
    pixels = read_gif(path.read_bytes())[0].reshape(-1, 3)
    wanted = [255 * np.array(to_rgb(look.colour)) for look in looks(("left", "right"))]
    wanted += [255 * shade[:3] for shade in SCALE.paint(np.array([-20.0, -10.0]))]
    for colour in wanted:
        assert np.abs(pixels - colour).sum(axis=1).min() < 30, colour


def test_every_word_of_frames_and_stills_can_be_read():
    sweep, task, _ = tilted()
    boards = boards_of(frames())
    assert [board.kind for board in boards] == ["desk", "overhead"]
    for figure in (
        still_figure(sweep, task, frames(), 0),
        frame_figure(sweep, task, frames(), 0, frames()[:1], boards),
    ):
        assert faults(figure) == []
        words = words_of(figure)
        for part in (
            "desk.tilt = 0 degrees",
            "desk top",
            "ceiling",
            "dB re direct sound",
            "reflection points of right",
        ):
            assert part in words, part
    assert "desk.tilt = 10 degrees" in words_of(still_figure(sweep, task, frames(), 0))


def test_mirror_points_of_a_tilted_desk_move_toward_the_front():
    """A desk whose far edge rises turns the image of the loudspeaker away: its point moves toward the front wall."""
    tops = [next(one for one in frame.maps if one.surface == "desk top") for frame in frames()]
    spots = np.array([one.mirror_points[0, 0] for one in tops])
    assert np.isfinite(spots).all()
    assert (np.diff(spots[:, 0]) < -0.005).all()
    tilted_desk = frames()[-1].built.room.facets[tops[-1].facet]
    assert tilted_desk.normal[0] > 0.1  # its face looks toward the listener


def test_boards_hold_all_frames_and_only_what_belongs():
    for board in boards_of(frames()):
        for frame in frames():
            room = frame.built.room
            numbers = [n for n in board_facets(frame.built, board.kind) if room.facets[n].name in board.surfaces]
            assert numbers
            for number in numbers:
                flat = room.facets[number].corners[:, [1, 0]]
                assert (flat >= board.low - 1e-9).all() and (flat <= board.high + 1e-9).all()
                assert (room.facets[number].normal[2] > 0) == (board.kind == "desk")


def test_without_a_desk_the_floor_is_shown():
    bare = TABLE.split("[[furniture]]")[0]
    sweep, task, _ = found(bare, {"ear.up": [1.1, 1.3]})
    made = animation_frames(sweep, task, 0, silent)
    assert [board.kind for board in boards_of(made)] == ["floor", "overhead"]


def test_animation_runs_along_a_tilt_and_through_the_possible_only():
    assert animation_axis(two_fields()[0]) == 1 and animation_axis(one_field()[0]) == 0
    sweep = with_impossible()[0]
    points = animation_points(sweep, 0)
    assert 0 < len(points) <= MOST_FRAMES
    assert all(sweep.state[point] == DONE for point in points)
    values = [sweep.plan.values(point)[0] for point in points]
    assert values == sorted(values)
    assert len(animation_points(side_by_side()[0], 0)) == 3


def test_long_sweeps_are_thinned_evenly_with_both_ends():
    sweep, _, _ = one_field()
    axis = replace(sweep.plan.axes[0], values=np.linspace(0.2, 0.9, 101))
    long = replace(sweep, plan=replace(sweep.plan, axes=(axis,), together=True), state=np.ones(101, dtype=int))
    points = animation_points(long, 0)
    assert len(points) == MOST_FRAMES and points[0] == 0 and points[-1] == 100
    assert set(np.diff(points)) <= {4, 5}


def test_one_possible_layout_is_no_animation(tmp_path):
    sweep, task, findings = tilted()
    state = np.array([DONE, IMPOSSIBLE, IMPOSSIBLE])
    assert draw_animation(replace(sweep, state=state), task, findings, tmp_path, silent) == ()
    assert list(tmp_path.iterdir()) == []


def test_an_animation_that_would_be_too_large_is_drawn_smaller(tmp_path, monkeypatch):
    sweep, task, _ = tilted()
    whole = save_animation(sweep, task, frames(), 0, tmp_path / "whole.gif").stat().st_size
    monkeypatch.setattr("sim.studies.sweep.animation_picture.MOST_BYTES", whole - 1)
    path = save_animation(sweep, task, frames(), 0, tmp_path / "small.gif")
    assert path.stat().st_size < whole


def test_ends_are_shown_longer():
    images = [Image.new("RGB", (20, 10), (n * 40, 0, 0)) for n in range(4)]
    with Image.open(io.BytesIO(gif_bytes(images))) as animation:
        times = []
        for number in range(animation.n_frames):
            animation.seek(number)
            times.append(animation.info["duration"])
        assert animation.info["loop"] == 0
    assert times[0] == times[3] > times[1] == times[2]


@pytest.mark.parametrize("name", ["desk", "overhead", "floor"])
def test_boxes_of_loudspeakers_are_on_no_board(name):
    built = two_fields()[1].stage_at((1.2, 0.0))
    boxes = {one.body for one in built.loudspeakers}
    assert not boxes & {built.room.facets[number].owner for number in board_facets(built, name)}
