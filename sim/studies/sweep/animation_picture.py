"""How hotspots move as a number runs through its values: an animation, and its first, middle and last frame.

Every frame comes from full surface maps of a layout that is built anew.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from PIL import Image

from sim.errors import SceneError
from sim.layouts.plan import SweepTask
from sim.layouts.records import DONE, Sweep
from sim.machine.whole_files import write_whole
from sim.placement.built_scene import BuiltScene
from sim.progress import Report
from sim.responses.records import SurfaceMap
from sim.responses.surface_map import surface_maps
from sim.showing.labels import headline
from sim.showing.numbers import hertz
from sim.showing.style import DOTS_PER_INCH, PAPER, SCALE, SOFT_INK, house_style, looks, new_figure, save
from sim.studies.sweep.animation_panel_picture import Board, animation_legend, boards_of, draw_board
from sim.studies.sweep.findings import Findings
from sim.studies.sweep.picture_words import line_through, others_at, plain

MOST_FRAMES: Final = 25
FRAME_MS, END_MS = 220, 1200
MOST_BYTES: Final = 3_000_000
SIZES: Final = (100, 84, 70, 58, 46)
"""Dots an inch of the animation, the first that stays below the most bytes."""
COLOURS: Final = 128
SWATCH_PX: Final = 12
BAND_HZ: Final = 2000.0

SURE: Final = (
    (255, 255, 255),
    *(tuple(round(255.0 * float(part)) for part in shade[:3]) for shade in SCALE.paint(SCALE.edges_db + 0.1)),
    *(tuple(round(255.0 * part) for part in to_rgb(look.colour)) for look in looks(("left", "right"))),
)


@dataclass(frozen=True, slots=True)
class Frame:
    """One layout of the animation: its setting in words, the built scene, and the maps of its surfaces."""

    words: str
    built: BuiltScene
    maps: tuple[SurfaceMap, ...]


def animation_axis(sweep: Sweep) -> int:
    """The axis that an animation runs along: the first tilt that varies, else the first with several values."""
    axes = sweep.plan.axes
    varying = [number for number, axis in enumerate(axes) if len(axis.values) > 1] or [0]
    return next((number for number in varying if axes[number].unit == "degrees"), varying[0])


def animation_points(sweep: Sweep, axis: int) -> tuple[int, ...]:
    """Numbers of the points that become frames: up to 25 possible ones evenly along the axis through the best."""
    line = line_through(sweep, axis)
    done = line[sweep.state[line] == DONE]
    if not done.size:
        return ()
    picked = np.unique(np.round(np.linspace(0, len(done) - 1, min(len(done), MOST_FRAMES))).astype(int))
    return tuple(int(point) for point in done[picked])


def animation_frames(sweep: Sweep, task: SweepTask, axis: int, report: Report) -> tuple[Frame, ...]:
    """Map the hotspots of every frame, in the order of the animation."""
    points = animation_points(sweep, axis)
    method, shown_axis = task.blueprint.method, sweep.plan.axes[axis]
    frames = []
    for number, point in enumerate(points):
        report(f"mapping hotspots, frame {number + 1} of {len(points)}")
        values = sweep.plan.values(point)
        try:
            built = task.stage_at(values)
        except SceneError:  # it was possible when it was worked out; the scene's files have changed since
            continue
        maps = surface_maps(built, sweep.plan.bands, method.grid, method.placement_error)
        frames.append(Frame(f"{shown_axis.field} = {plain(shown_axis, values[axis])}", built, maps))
    return tuple(frames)


def draw_animation(sweep: Sweep, task: SweepTask, found: Findings, folder: Path, report: Report) -> tuple[Path, ...]:
    """Write hotspots.gif and hotspots_first_last.png into a folder; nothing when fewer than two layouts are possible.

    The animation has at most 3 MB; it is drawn smaller when it would be larger.
    """
    axis = animation_axis(sweep)
    if found.best < 0 or len(animation_points(sweep, axis)) < 2:
        return ()
    frames = animation_frames(sweep, task, axis, report)
    report("drawing the hotspots as they move")
    still = save(still_figure(sweep, task, frames, axis), folder / "hotspots_first_last.png")
    return save_animation(sweep, task, frames, axis, folder / "hotspots.gif"), still


def save_animation(sweep: Sweep, task: SweepTask, frames: Sequence[Frame], axis: int, path: Path) -> Path:
    """Write the frames as GIF; the file appears whole or not at all, and the same frames give the same bytes."""
    images = list(_images(sweep, task, frames, axis))
    for dots in SIZES:
        data = gif_bytes([_smaller(image, dots / DOTS_PER_INCH) for image in images])
        if len(data) <= MOST_BYTES:
            break
    return write_whole(path, data, "the animation", make_folder=True)


def gif_bytes(images: Sequence[Image.Image]) -> bytes:
    """Put images (one size) into a GIF that runs for ever, first and last frame shown longer, one set of colours."""
    picked = [images[number] for number in sorted({0, len(images) // 2, len(images) - 1})]
    wide, tall = images[0].size
    strip = Image.new("RGB", (wide, tall * len(picked) + SWATCH_PX * len(SURE)), PAPER)
    for row, image in enumerate(picked):
        strip.paste(image, (0, row * tall))
    for row, colour in enumerate(SURE):  # colours that must not be lost, however few pixels they have
        strip.paste(colour, (0, tall * len(picked) + SWATCH_PX * row, wide, strip.height))
    palette = strip.quantize(COLOURS, method=Image.Quantize.MEDIANCUT)
    drawn = [image.quantize(palette=palette, dither=Image.Dither.NONE) for image in images]
    times = [END_MS, *[FRAME_MS] * max(len(drawn) - 2, 0), END_MS][: len(drawn)]
    target = io.BytesIO()
    drawn[0].save(
        target, format="GIF", save_all=True, append_images=drawn[1:], duration=times, loop=0, optimize=False, disposal=1
    )
    return target.getvalue()


def _images(sweep: Sweep, task: SweepTask, frames: Sequence[Frame], axis: int) -> Iterator[Image.Image]:
    boards = boards_of(frames)
    for frame in frames:
        figure = frame_figure(sweep, task, frames, axis, [frame], boards)
        with house_style():
            figure.canvas.draw()
        pixels = np.asarray(figure.canvas.buffer_rgba())  # type: ignore[attr-defined]
        yield Image.fromarray(np.ascontiguousarray(pixels[..., :3]))


def _smaller(image: Image.Image, fraction: float) -> Image.Image:
    size = (round(image.width * fraction), round(image.height * fraction))
    return image.resize(size, Image.Resampling.LANCZOS)


def still_figure(sweep: Sweep, task: SweepTask, frames: Sequence[Frame], axis: int) -> Figure:
    """Draw the first, the middle and the last frame side by side."""
    numbers = sorted({0, len(frames) // 2, len(frames) - 1})
    boards = boards_of(frames)
    return frame_figure(sweep, task, frames, axis, [frames[number] for number in numbers], boards)


def frame_figure(
    sweep: Sweep, task: SweepTask, frames: Sequence[Frame], axis: int, shown: Sequence[Frame], boards: Sequence[Board]
) -> Figure:
    """Draw frames: one with its boards side by side, several in columns, on the same axes throughout."""
    columns = [board.size_in for board in boards]
    single = len(shown) == 1
    gap, left, right, top, bottom = 0.75, 0.75, 1.35, 1.45, 0.9
    if single:
        width = left + sum(size[0] for size in columns) + gap * len(columns) + right
        height = top + max(size[1] for size in columns) + bottom
    else:
        width = left + len(shown) * (max(size[0] for size in columns) + gap) + right
        height = top + sum(size[1] for size in columns) + 0.95 * (len(boards) - 1) + bottom
    width = max(width, 6.5)
    ways = looks(sweep.plan.loudspeakers)
    with house_style():
        figure = new_figure(width, height)
        _title(figure, sweep, axis, height, shown[0].words if single else "")
        for column, frame in enumerate(shown):
            x, y = left, height - top
            for board in boards:
                wide, tall = board.size_in
                if not single:
                    x = left + column * (max(size[0] for size in columns) + gap)
                place: Axes = figure.add_axes((x / width, (y - tall) / height, wide / width, tall / height))
                draw_board(
                    place, board, frame.built, frame.maps, frames, ways, task.blueprint.units, BAND_HZ, sweep.plan.bands
                )
                place.set_title(board.words, loc="left", fontsize=8.5, color=SOFT_INK, pad=4)
                if single:
                    x += wide + gap
                else:
                    y -= tall + 0.95
            if not single:
                figure.text(x / width, 1.0 - 0.95 / height, frame.words, fontsize=10, fontweight="bold", va="center")
        tall = min(3.0, height - top - bottom)
        bar = figure.add_axes(((width - 1.05) / width, (height - top - tall) / height, 0.18 / width, tall / height))
        SCALE.draw_bar(figure, bar)
        animation_legend(figure, ways, width, height)
    return figure


def _title(figure: Figure, sweep: Sweep, axis: int, height: float, setting: str) -> None:
    plan = sweep.plan
    words = f"{plan.title}: hotspots as {plan.axes[axis].field} varies"
    headline(figure, (0.02, 1.0 - 0.28 / height), words, size=11)
    others = "" if plan.together else others_at(sweep, (axis,))
    moved = plan.axes[axis].words if "," in plan.axes[axis].words else ""
    parts = [f"{hertz(BAND_HZ)} octave, all monitors together", moved, others]
    headline(figure, (0.02, 1.0 - 0.5 / height), "; ".join(part for part in parts if part), size=8, color=SOFT_INK)
    if setting:
        figure.text(0.02, 1.0 - 0.85 / height, setting, fontsize=12, fontweight="bold", va="center")
