"""What single things do to the response at the ear: the few that do most, as curves with their names beside them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from matplotlib.axes import Axes

from ..arrays import ComplexArray, FloatArray
from ..responses.results import Results

MOST: Final = 4
"""More lines than this are not told apart at a glance."""
LEAST_DB: Final = 0.3
"""What changes third-octaves by less (root mean square) is not drawn."""
Line: TypeAlias = tuple[str, Any]
"""Colour and dashes."""
LINES: Final[tuple[Line, ...]] = (
    ("#1a1a1a", "-"),
    ("#b07d00", (0, (5.0, 1.5))),
    ("#8c4a79", (0, (1.2, 1.2))),
    ("#00785a", (0, (6.0, 1.5, 1.2, 1.5))),
)
"""Other colours than those of loudspeakers; told apart by lightness and line as well, for any colour blindness."""


@dataclass(frozen=True, slots=True)
class Influence:
    """One thing (a "surface" of the room, a "piece" or a "panel"), how much it does, and what it adds (f,)."""

    kind: str
    name: str
    rms_db: float
    adds: ComplexArray


def most_influential(results: Results, loudspeaker: int, listener: int) -> tuple[Influence, ...]:
    """Return at most four things that change the response most, by the root mean square over judged third-octaves.

    A panel is among them if there is one, so that one sees what it does.
    """
    response, transition_hz = results.responses.response, results.responses.transition_hz
    levels = response.levels
    judged = levels.bands.lower_hz >= transition_hz
    if not judged.any():
        return ()
    table = levels.whole_db[loudspeaker, listener][:, judged]
    strength = np.sqrt(np.mean((table[0] - table) ** 2, axis=1))
    ranked = [int(case) for case in np.argsort(-strength, kind="stable") if case and strength[case] >= LEAST_DB]
    panels = [case for case in ranked if levels.kinds[case] == "panel"]
    chosen = ranked[:MOST]
    if panels and panels[0] not in chosen:
        chosen[-1] = panels[0]
    return tuple(
        Influence(
            levels.kinds[case],
            levels.without[case],
            float(strength[case]),
            _adds(results, levels.kinds[case], levels.without[case])[loudspeaker, listener],
        )
        for case in chosen
    )


def _adds(results: Results, kind: str, name: str) -> ComplexArray:
    response = results.responses.response
    names, adds = {
        "surface": (response.surfaces, response.by_surface),
        "piece": (response.pieces, response.by_piece),
        "panel": (response.panels, response.by_panel),
    }[kind]
    return np.asarray(adds[:, :, names.index(name)])


def lines_of(chosen: Sequence[Sequence[Influence]]) -> list[list[Line]]:
    """A line for each thing of each loudspeaker; what has one at an earlier loudspeaker keeps it where it can."""
    kept: dict[tuple[str, str], Line] = {}
    given = []
    for things in chosen:
        keys = [(thing.kind, thing.name) for thing in things]
        mine: dict[tuple[str, str], Line] = {}
        for key in keys:
            if key in kept and kept[key] not in mine.values():
                mine[key] = kept[key]
        free = iter([line for line in LINES if line not in mine.values()])
        for key in keys:
            mine.setdefault(key, mine[key] if key in mine else next(free))
        kept = mine | kept
        given.append([mine[key] for key in keys])
    return given


def draw_influences(
    place: Axes, frequencies_hz: FloatArray, changes_db: Sequence[FloatArray], things: Sequence[Influence],
    lines: Sequence[Line],
) -> None:  # fmt: skip
    """Draw what each thing does, in dB, over frequencies (f,), and write its name where its line ends."""
    low, high = place.get_ylim()
    shown = frequencies_hz <= place.get_xlim()[1]
    ends = np.array([float(np.clip(change[shown][-1], low, high)) for change in changes_db])
    for change, (colour, line) in zip(changes_db, lines, strict=True):
        place.plot(frequencies_hz, change, color=colour, linestyle=line, linewidth=1.6, zorder=2.4)
    for thing, end, spot, (colour, line) in zip(things, ends, spread(ends, 0.15 * (high - low)), lines, strict=True):
        words = f"panel {thing.name}" if thing.kind == "panel" else thing.name
        right = place.get_xlim()[1]
        ink = {"color": colour, "linestyle": line, "linewidth": 1.6, "clip_on": False}
        place.plot([right, right * 1.10, right * 1.45], [end, spot, spot], **ink)
        place.text(right * 1.52, spot, words, color=colour, fontsize=8.5, va="center", clip_on=False)


def spread(values: FloatArray, apart: float) -> FloatArray:
    """Places (n,) as near to values (n,) as they can be in the same order and at least `apart` from each other."""
    order = np.argsort(values, kind="stable")
    groups: list[list[int]] = []
    middles: list[float] = []
    for number in order:
        groups.append([int(number)])
        middles.append(float(values[number]))
        # two groups that are too near become one, around the mean of their wishes
        while len(groups) > 1 and middles[-1] - middles[-2] < apart * 0.5 * (len(groups[-1]) + len(groups[-2])):
            last = groups.pop()
            middles.pop()
            groups[-1] += last
            middles[-1] = float(np.mean(values[groups[-1]]))
    places = np.empty(len(values))
    for group, middle in zip(groups, middles, strict=True):
        places[group] = middle + apart * (np.arange(len(group)) - 0.5 * (len(group) - 1))
    return places
