"""The surfaces that an animation of hotspots shows, flat from above and unmoved from frame to frame.

The desk (or the floor where there is none) as one looks down on it; what is overhead as one sees it in a mirror on
the floor, slopes foreshortened as in any plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from sim.acoustics.bands import Bands
from sim.arrays import FloatArray
from sim.geometry.room import Room
from sim.placement.built_scene import BuiltScene
from sim.responses.records import SurfaceMap
from sim.showing.map_panel import map_sheet
from sim.showing.numbers import in_unit, joined
from sim.showing.style import INK, SCALE, SOFT_INK, SURFACE, Look
from sim.showing.surface_views import PLAN, facet_rings, flat_union, rings_of

OVERHEAD_COSINE: Final = -0.2
UPWARD_COSINE: Final = 0.5
SEEN: Final = {"desk": "seen from above", "floor": "seen from above", "overhead": "as in a mirror on the floor"}
WIDEST_IN, TALLEST_IN = 3.6, 3.2


class HasMaps(Protocol):
    """What a frame brings along."""

    @property
    def maps(self) -> tuple[SurfaceMap, ...]:
        """Maps of all surfaces of the frame's layout."""
        ...

    @property
    def built(self) -> BuiltScene:
        """The frame's layout."""
        ...


@dataclass(frozen=True, slots=True)
class Board:
    """One group of surfaces on axes of its own.

    kind is "desk", "floor" or "overhead"; surfaces are the names of what is on it; low and high (2,) are its limits
    from the left wall and from the front wall in metres, wide enough for all frames; size_in is its size on paper.
    """

    kind: str
    words: str
    surfaces: frozenset[str]
    low: FloatArray
    high: FloatArray

    @property
    def size_in(self) -> tuple[float, float]:
        """Width and height on paper, one scale both ways."""
        span = self.high - self.low
        scale = min(WIDEST_IN / span[0], TALLEST_IN / span[1])
        return float(span[0] * scale), float(span[1] * scale)


def board_facets(built: BuiltScene, kind: str) -> tuple[int, ...]:
    """Numbers of the facets that belong to a board, those of loudspeaker boxes never."""
    room = built.room
    boxes = built.boxes
    ear = float(built.ears[:, 2].min())
    found = []
    for number, facet in enumerate(room.facets):
        up, heights = float(facet.normal[2]), facet.corners[:, 2]
        if facet.owner in boxes:
            continue
        if kind == "overhead":
            belongs = up < OVERHEAD_COSINE and float(heights.max()) > ear
        elif kind == "floor":
            belongs = up > UPWARD_COSINE and facet.owner == room.owners[0]
        else:
            belongs = up > UPWARD_COSINE and facet.owner != room.owners[0] and float(heights.max()) < ear
            belongs = belongs and float(heights.min()) > 0.4 * ear and facet.area_m2 > 0.2
        if belongs:
            found.append(number)
    return tuple(found)


def boards_of(frames: Sequence[HasMaps]) -> tuple[Board, ...]:
    """The boards of an animation, as large as all its layouts need.

    Of desks only those tops are shown that carry hotspots in some frame; what is overhead is shown whole.
    """
    lower = "desk" if any(board_facets(frame.built, "desk") for frame in frames) else "floor"
    boards = []
    for kind in (lower, "overhead"):
        there = {
            frame.built.room.facets[number].name: None for frame in frames for number in board_facets(frame.built, kind)
        }
        if not there:
            continue
        heard = {one.surface for frame in frames for one in frame.maps}
        loud = [name for name in there if name in heard]
        shown = frozenset(loud if loud and kind == "desk" else there)
        corners = [
            PLAN.flatten(frame.built.room.facets[number].corners)
            for frame in frames
            for number in board_facets(frame.built, kind)
            if frame.built.room.facets[number].name in shown
        ]
        spots = np.concatenate(corners)
        spare = 0.04 * float(np.ptp(spots, axis=0).max())
        names = loud or list(there)
        reported = joined([*names[:2], "others"] if len(names) > 2 else names)
        boards.append(
            Board(kind, f"{reported}\n{SEEN[kind]}", shown, spots.min(axis=0) - spare, spots.max(axis=0) + spare)
        )
    return tuple(boards)


def draw_board(
    place: Axes,
    board: Board,
    built: BuiltScene,
    maps: Sequence[SurfaceMap],
    frames: Sequence[HasMaps],
    ways: Sequence[Look],
    unit: str,
    band_hz: float,
    bands: Bands,
) -> None:
    """Draw one board of one layout: surfaces, hotspots in colour, mirror points, and their track through all frames."""
    per_metre = in_unit(1.0, unit)
    band = int(np.argmin(np.abs(bands.nominal_hz - band_hz)))
    facets = _on(board, built)
    for number in facets:
        _surface(place, built.room, number, [one for one in maps if one.facet == number], band, per_metre)
    _ways(place, board, frames, ways, per_metre)
    _points(place, [one for one in maps if one.facet in facets], ways, per_metre)
    _around(place, built, ways, per_metre)
    place.set_xlim(board.low[0] * per_metre, board.high[0] * per_metre)
    place.set_ylim(board.high[1] * per_metre, board.low[1] * per_metre)
    place.set_xlabel(f"from the left wall, {unit}", fontsize=7.5)
    place.set_ylabel(f"from the front wall, {unit}", fontsize=7.5)
    place.tick_params(labelsize=7)
    place.locator_params(nbins=5)
    for side in place.spines.values():
        side.set_visible(False)


def _on(board: Board, built: BuiltScene) -> tuple[int, ...]:
    """Facets of a layout that are on a board."""
    return tuple(n for n in board_facets(built, board.kind) if built.room.facets[n].name in board.surfaces)


def _surface(place: Axes, room: Room, number: int, maps: Sequence[SurfaceMap], band: int, per_metre: float) -> None:
    rings = [PLAN.flatten(ring) * per_metre for ring in facet_rings(room, number)]
    outline = Outline.make_compound_path(*(Outline(ring, closed=True) for ring in rings))
    place.add_patch(PathPatch(outline, facecolor=SURFACE, edgecolor="none", zorder=1))
    for one in maps:
        levels = one.both_db[band]
        if not (levels >= SCALE.low_db).any():
            continue
        edges = SCALE.edges_db
        top = max(float(edges[-1]), float(levels.max())) + 1.0
        filled = place.contourf(
            *map_sheet(one, levels, PLAN.flatten(one.points) * per_metre),
            levels=[*edges, top],
            zorder=2,
            colors=[*SCALE.paint(edges[:-1] + 0.1), *SCALE.paint(edges[-1:] + 0.1)],
        )
        filled.set_clip_path(outline, place.transData)
    place.add_patch(PathPatch(outline, facecolor="none", edgecolor=INK, linewidth=0.8, zorder=5))


def _ways(place: Axes, board: Board, frames: Sequence[HasMaps], ways: Sequence[Look], per_metre: float) -> None:
    """The way of each driver's reflection point through all frames, on each surface by its name."""
    tracks: dict[tuple[str, int, int], list[FloatArray]] = {}
    for frame in frames:
        facets = _on(board, frame.built)
        for one in frame.maps:
            if one.facet in facets:
                for s, d in np.ndindex(one.mirror_points.shape[:2]):
                    tracks.setdefault((one.surface, s, d), []).append(one.mirror_points[s, d])
    for (_, s, _), points in tracks.items():
        flat = PLAN.flatten(np.array(points)) * per_metre
        place.plot(*flat.T, color="white", linewidth=2.4, zorder=5.8)
        place.plot(*flat.T, color=ways[s].colour, linewidth=1.0, zorder=5.9)


def _points(place: Axes, maps: Sequence[SurfaceMap], ways: Sequence[Look], per_metre: float) -> None:
    for s, look in enumerate(ways):
        known = np.concatenate([np.zeros((0, 3)), *(one.mirror_points[s] for one in maps)])
        known = known[np.isfinite(known).all(axis=1)]
        place.plot(
            *(PLAN.flatten(known) * per_metre).T,
            linestyle="none",
            marker=look.marker,
            markersize=6,
            zorder=7,
            markerfacecolor="white",
            markeredgecolor=look.colour,
            markeredgewidth=1.6,
        )


def _around(place: Axes, built: BuiltScene, ways: Sequence[Look], per_metre: float) -> None:
    """Outlines of the loudspeakers and the ear, to find one's way."""
    for loudspeaker, look in zip(built.loudspeakers, ways, strict=True):
        if loudspeaker.corners is not None:
            quads = np.array([[0, 1, 2, 3], [5, 4, 7, 6], [3, 2, 6, 7], [4, 5, 1, 0], [4, 0, 3, 7], [1, 5, 6, 2]])
            corners = loudspeaker.corners
            triangles = np.concatenate([corners[quads[:, [0, 1, 2]]], corners[quads[:, [0, 2, 3]]]])
            for ring in rings_of(flat_union(triangles, PLAN)):
                place.plot(*(ring * per_metre).T, color=look.colour, linewidth=1.1, linestyle=look.line, zorder=6)
    ear = PLAN.flatten(built.ears[:1])[0] * per_metre
    place.plot(*ear, marker="+", markersize=9, color=INK, markeredgewidth=1.4, zorder=7)


def animation_legend(figure: Figure, ways: Sequence[Look], width: float, height: float) -> None:
    """Say what the marks mean."""
    entries: list[Any] = [
        Line2D(
            [],
            [],
            marker=look.marker,
            markerfacecolor="white",
            markeredgecolor=look.colour,
            color=look.colour,
            linewidth=1.0,
            markeredgewidth=1.6,
            label=f"{look.letter}: reflection points of {look.name}, and their track",
        )
        for look in ways
    ]
    entries.append(Line2D([], [], linestyle="none", marker="+", markersize=9, color=INK, label="ear"))
    figure.legend(
        handles=entries,
        loc="lower left",
        ncols=3 if width > 7.5 else 1,
        bbox_to_anchor=(0.04, 0.04 / height),
        fontsize=7.5,
        labelcolor=SOFT_INK,
    )
