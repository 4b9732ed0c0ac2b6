"""Labels that keep out of each other's way: each goes to the nearest free place around what it names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from sim.arrays import FloatArray
from sim.showing.style import INK, SOFT_INK

GAP_PX = 4.0
RINGS_PX = (0.0, 10.0, 20.0, 32.0, 46.0, 62.0, 80.0, 100.0, 124.0, 150.0)


@dataclass(frozen=True, slots=True)
class Label:
    """Words for one spot; anchor in pixels of the figure, from its lower left corner."""

    words: str
    anchor: tuple[float, float]
    colour: str = INK
    size: float = 8.0
    bold: bool = False
    centred: bool = False


def overlap_px2(box: FloatArray, others: Sequence[FloatArray]) -> float:
    """Shared area of a box (left, low, right, high) with others, summed."""
    if not others:
        return 0.0
    stacked = np.stack(list(others))
    width = np.minimum(box[2], stacked[:, 2]) - np.maximum(box[0], stacked[:, 0])
    height = np.minimum(box[3], stacked[:, 3]) - np.maximum(box[1], stacked[:, 1])
    return float((np.maximum(width, 0.0) * np.maximum(height, 0.0)).sum())


def settle(
    size: tuple[float, float],
    anchor: tuple[float, float],
    frame: FloatArray,
    taken: Sequence[FloatArray],
    *,
    centred: bool = False,
    upward: bool = False,
) -> FloatArray | None:
    """Return the nearest free box (left, low, right, high) for a label, or None when there is no room.

    Parameters
    ----------
    size, anchor
        Width and height of the words, and the spot they name, in pixels.
    frame
        (4,) box the label must stay in.
    taken
        Boxes that are occupied.
    centred
        Try the spot itself first, for names of areas.
    upward
        Stay above the spot, for names of peaks.
    """
    width, height = size
    turns = np.linspace(0.0, np.pi, 9) if upward else np.arange(16) * (np.pi / 8.0)
    turns = np.asarray(sorted(turns.tolist(), key=lambda turn: round(abs(turn - np.pi / 2.0), 6)))
    for ring in RINGS_PX:
        for turn in turns:
            away = np.array([np.cos(turn), np.sin(turn)])
            half = np.array([width, height]) / 2.0
            clear = 0.0 if centred else 1.0
            middle = np.array(anchor) + away * (half + GAP_PX) * clear + away * ring
            box = np.concatenate([middle - half - 1.0, middle + half + 1.0])
            inside = box[0] >= frame[0] and box[1] >= frame[1] and box[2] <= frame[2] and box[3] <= frame[3]
            if inside and overlap_px2(box, taken) == 0.0:
                return box
            if centred and ring == 0.0:
                break
    return None


def text_size(figure: Figure, words: str, **style: Any) -> tuple[float, float]:
    """Width and height of words in pixels, as they would be drawn."""
    trial = Text(0.0, 0.0, words, figure=figure, **style)
    box = trial.get_window_extent(renderer_of(figure))
    return float(box.width), float(box.height)


def renderer_of(figure: Figure) -> Any:
    """The renderer that measures and draws text for a figure made by `new_figure`."""
    canvas = figure.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    return canvas.get_renderer()  # type: ignore[no-untyped-call]


def write_labels(
    figure: Figure,
    labels: Sequence[Label],
    frame: Bbox,
    taken: Sequence[FloatArray] = (),
    *,
    upward: bool = False,
    halo: bool = True,
) -> tuple[str, ...]:
    """Write labels where there is room, with a hairline to the spot when it is not next to the words.

    Returns the words that found no place, so that the caller can list them elsewhere.
    """
    from matplotlib.lines import Line2D
    from matplotlib.patheffects import withStroke

    edges = np.array([frame.x0, frame.y0, frame.x1, frame.y1])
    occupied = list(taken)
    left_out = []
    for label in labels:
        style: dict[str, Any] = {"fontsize": label.size, "fontweight": "bold" if label.bold else "normal"}
        size = text_size(figure, label.words, **style)
        box = settle(size, label.anchor, edges, occupied, centred=label.centred, upward=upward)
        if box is None:
            left_out.append(label.words)
            continue
        occupied.append(box)
        middle = 0.5 * (box[:2] + box[2:])
        nearest = np.clip(label.anchor, box[:2], box[2:])
        if np.hypot(*(nearest - np.array(label.anchor))) > 2.5 * GAP_PX:
            ends = figure.transFigure.inverted().transform(np.stack([nearest, np.array(label.anchor)]))
            figure.add_artist(Line2D(ends[:, 0].tolist(), ends[:, 1].tolist(), color=SOFT_INK, linewidth=0.6, zorder=4))
        place = figure.transFigure.inverted().transform(middle)
        text = figure.text(
            place[0], place[1], label.words, color=label.colour, ha="center", va="center", zorder=6, **style
        )
        if halo:
            text.set_path_effects([withStroke(linewidth=2.2, foreground="white")])
    return tuple(left_out)


def headline(
    figure: Figure, place: tuple[float, float], words: str, *, size: float, right: float = 0.985, **style: Any
) -> Text:
    """Write a line at a share of the figure, smaller if need be, and cut short if even that does not fit."""
    room = (right - place[0]) * figure.bbox.width
    smallest = 0.75 * size
    while text_size(figure, words, fontsize=size, **style)[0] > room:
        if size > smallest:
            size -= 0.5
        else:
            words = words.removesuffix("…")[:-1].rstrip() + "…"
    return figure.text(place[0], place[1], words, fontsize=size, **style)


def on_figure(axes: Axes, points: FloatArray) -> FloatArray:
    """Pixels (n, 2) of data points (n, 2) of axes; the axes must have their final limits."""
    return np.asarray(axes.transData.transform(points), dtype=np.float64)
