"""Bounces drawn flat: each surface once, a row a loudspeaker, a column each for the first, second and third bounce."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Ellipse, PathPatch
from matplotlib.path import Path as Outline
from matplotlib.ticker import MaxNLocator

from sim.arrays import FloatArray
from sim.blueprint.units import small_words
from sim.showing.child_drawing import file_name
from sim.showing.labels import headline
from sim.showing.map_panel import surface_corners
from sim.showing.numbers import hertz_range, in_unit, level_words
from sim.showing.style import HAIRLINE, INK, SCALE, SOFT_INK, SURFACE, house_style, new_figure, save
from sim.showing.surface_views import Elevation, FlatSurface, elevation_of, facet_rings, flat_surfaces
from sim.studies.bounces.maps import DISC_M
from sim.studies.bounces.records import BounceMap, BounceStudy, Spot

ORDINALS = ("first", "second", "third")
MOST_SURFACES = 8
NARROWEST_M, SLIMMEST = 0.10, 0.07
"""What is narrower than this, or than this share of its length, has no room for a map; the tables have it."""
APART = 0.15
"""Of two spots nearer than this share of a panel only the stronger gets its level written beside it."""
WIDE_IN = 11.0
KEY_IN = 0.34
"""Height of the line that says what the discs are."""
DASHES = (0.0, (3.0, 2.0))
TICK_STEPS = [1.0, 2.0, 2.5, 5.0, 10.0]


def surfaces_that_matter(study: BounceStudy) -> tuple[FlatSurface, ...]:
    """Surfaces with a place above the lowest class of level, wide enough to draw, strongest first, eight at most."""
    strongest = {one.facet: float(one.level_db.max()) for one in study.maps}
    ranked = [
        (max(strongest.get(number, -np.inf) for number in surface.facets), surface)
        for surface in flat_surfaces(study.built.room)
        if _has_room(np.ptp(_drawn(study, surface)[1], axis=0))
    ]
    ranked.sort(key=lambda entry: -entry[0])
    return tuple(surface for level, surface in ranked[:MOST_SURFACES] if level > SCALE.low_db)


def _has_room(extent_m: FloatArray) -> bool:
    return bool(extent_m.min() >= max(NARROWEST_M, SLIMMEST * extent_m.max()))


def _drawn(study: BounceStudy, surface: FlatSurface) -> tuple[Elevation, FloatArray]:
    """How a surface is drawn, and its corners (n, 2) there, in metres."""
    corners = surface_corners(study.built.room, surface)
    drawing = elevation_of(study.built.room.facets[surface.facets[0]], corners)
    return drawing, drawing.flatten(corners)


def draw_bounces(study: BounceStudy, folder: Path) -> tuple[Path, ...]:
    """Write bounces_<surface>.png of every surface that matters into a folder."""
    made: list[Path] = []
    for surface in surfaces_that_matter(study):
        name, number = f"bounces_{file_name(surface.name)}", 1
        while folder / f"{name}.png" in made:
            number += 1
            name = f"bounces_{file_name(surface.name)}_{number}"
        made.append(save(bounce_figure(study, surface), folder / f"{name}.png"))
    return tuple(made)


def bounce_figure(study: BounceStudy, surface: FlatSurface) -> Figure:
    """Draw one surface: loudspeakers below each other, bounces side by side."""
    unit = study.scene.blueprint.units
    drawing, corners = _drawn(study, surface)
    width, height = np.ptp(corners, axis=0)
    rows = len(study.built.loudspeakers)
    panel_in = float(np.clip((WIDE_IN - 2.6) / 3.0 * height / width, 1.1, 3.6))
    tall = rows * (panel_in + 0.55) + 1.25 + KEY_IN
    with house_style():
        figure = new_figure(WIDE_IN, tall)
        grid = figure.add_gridspec(
            rows,
            3,
            left=0.85 / WIDE_IN,
            right=1.0 - 1.5 / WIDE_IN,
            top=1.0 - 0.95 / tall,
            bottom=(0.62 + KEY_IN) / tall,
            wspace=0.16,
            hspace=0.55 / panel_in,
        )
        for s, loudspeaker in enumerate(study.built.loudspeakers):
            for bounce in range(3):
                place = figure.add_subplot(grid[s, bounce])
                _panel(place, study, surface, drawing, s, bounce)
                fraction = sum(float(one.fraction[s, bounce]) for one in study.maps if one.facet in surface.facets)
                place.set_title(
                    f"{loudspeaker.name}, {ORDINALS[bounce]} bounce: {_percent(fraction)} of its early reflections",
                    fontsize=8,
                )
                place.set_xlabel(f"{drawing.across.words}, {unit}" if s == rows - 1 else "", fontsize=8)
        figure.text(
            0.22 / WIDE_IN, 0.5, f"{drawing.upward.words}, {unit}", rotation=90, ha="center", va="center", fontsize=8
        )
        bar_in = min(3.4, tall - 1.9)
        SCALE.draw_bar(
            figure, figure.add_axes((1.0 - 1.15 / WIDE_IN, 0.5 - 0.5 * bar_in / tall, 0.2 / WIDE_IN, bar_in / tall))
        )
        low, high = study.window_ms
        octaves = hertz_range(study.octaves_hz[0], study.octaves_hz[-1])
        words = f"{surface.whole_name}: where early reflections strike before they reach the ear"
        headline(figure, (0.02, 1.0 - 0.28 / tall), words, size=11)
        reported = (
            f"{study.scene.blueprint.title}; {low:g} to {high:g} ms after direct sound, mean of the octaves {octaves}; "
            f"{drawing.words}"
        )
        headline(figure, (0.02, 1.0 - 0.52 / tall), reported, size=8, color=SOFT_INK)
        _key(figure, tall, unit)
    return figure


def _key(figure: Figure, tall: float, unit: str) -> None:
    """Say below that a disc is where sound is added up, not how wide a reflection is."""
    x, y, radius_in = 0.34, 0.5 * KEY_IN + 0.02, 0.1
    ring = Ellipse(
        (x / WIDE_IN, y / tall),
        2.0 * radius_in / WIDE_IN,
        2.0 * radius_in / tall,
        transform=figure.transFigure,
        facecolor="none",
        edgecolor=INK,
        linewidth=0.9,
        linestyle=DASHES,
    )
    figure.add_artist(ring)
    words = (
        f"Each place has the colour of everything that strikes within {small_words(DISC_M, unit)} of it, so a single "
        "reflection shows as a disc of that radius (dashed): it collects sound, it is not how wide a reflection is."
    )
    headline(figure, (0.52 / WIDE_IN, (y - 0.04) / tall), words, size=8, color=SOFT_INK)


def _percent(fraction: float) -> str:
    return "under 1 %" if 0.0 < fraction < 0.01 else f"{100.0 * fraction:.0f} %"


def _panel(place: Axes, study: BounceStudy, surface: FlatSurface, drawing: Elevation, s: int, bounce: int) -> None:
    room, per_metre = study.built.room, in_unit(1.0, study.scene.blueprint.units)
    maps = {one.facet: one for one in study.maps}
    loudest, corners = -np.inf, _drawn(study, surface)[1]
    for number in surface.facets:
        rings = [drawing.flatten(ring) * per_metre for ring in facet_rings(room, number)]
        outline = Outline.make_compound_path(*(Outline(ring, closed=True) for ring in rings))
        place.add_patch(PathPatch(outline, facecolor=SURFACE, edgecolor="none", zorder=1))
        if number in maps:
            loudest = max(loudest, _cells(place, study, maps[number], drawing, per_metre, outline, s, bounce))
        place.add_patch(PathPatch(outline, facecolor="none", edgecolor=INK, linewidth=0.9, zorder=5))
    place.set_aspect("equal")
    low, high = (getattr(corners, side)(axis=0) * per_metre for side in ("min", "max"))
    spare = 0.02 * float((high - low).max())
    place.set_xlim(low[0] - spare, high[0] + spare)
    place.set_ylim(low[1] - spare, high[1] + spare)
    if drawing.across.turned:
        place.invert_xaxis()
    if drawing.upward.turned:
        place.invert_yaxis()
    place.tick_params(labelsize=7)
    place.xaxis.set_major_locator(MaxNLocator(5, steps=TICK_STEPS, min_n_ticks=1))
    place.yaxis.set_major_locator(MaxNLocator(4, steps=TICK_STEPS, min_n_ticks=1))
    for side in place.spines.values():
        side.set_visible(False)
    if loudest < SCALE.low_db:
        x, y = 0.5 * (low + high)
        place.text(
            x,
            y,
            f"nothing above {level_words(SCALE.low_db)}",
            ha="center",
            va="center",
            fontsize=7,
            zorder=8,
            color=SOFT_INK,
        )
        return
    labelled: list[FloatArray] = []
    for spot in _spots(study, surface, s, bounce):
        x, y = drawing.flatten(spot.point[None])[0] * per_metre
        place.plot([x], [y], marker="o", markersize=5, markerfacecolor="white", markeredgecolor=INK, zorder=7)
        place.add_patch(
            Circle(
                (x, y), DISC_M * per_metre, facecolor="none", edgecolor=INK, linewidth=0.8, linestyle=DASHES, zorder=6
            )
        )
        here = np.asarray(place.transAxes.inverted().transform(place.transData.transform((x, y))))
        if len(labelled) < 2 and all(np.linalg.norm(here - other) > APART for other in labelled):
            labelled.append(here)
            # away from the nearest rim: left of spots far right, below those far up
            far_right, far_up = here > 0.75
            place.annotate(
                level_words(spot.level_db, 0),
                (x, y),
                xytext=(-6 if far_right else 6, -11 if far_up else 5),
                textcoords="offset points",
                ha="right" if far_right else "left",
                fontsize=7,
                zorder=8,
                bbox={"facecolor": "white", "edgecolor": HAIRLINE, "boxstyle": "round,pad=0.2", "linewidth": 0.5},
            )


def _spots(study: BounceStudy, surface: FlatSurface, s: int, bounce: int) -> list[Spot]:
    names = {study.built.room.facets[number].name for number in surface.facets}
    loudspeaker = study.built.loudspeakers[s].name
    return [
        spot
        for spot in study.spots
        if spot.loudspeaker == loudspeaker
        and spot.bounce == bounce + 1
        and spot.owner == surface.owner
        and spot.surface in names
    ]


def _cells(
    place: Axes,
    study: BounceStudy,
    one: BounceMap,
    drawing: Elevation,
    per_metre: float,
    outline: Outline,
    s: int,
    bounce: int,
) -> float:
    """Draw the cells of one facet; returns its highest level."""
    levels = one.level_db[s, bounce]
    loudest = float(levels.max())
    if loudest < SCALE.low_db:
        return loudest
    facet = study.facet_of(one)
    # a row of cells more on each side, so that colours run up to the very edge
    rims = [one.origin[k] + (np.arange(one.shape[k] + 3) - 1.5) * one.grid_m for k in range(2)]
    corners = facet.from_plane(np.stack(np.meshgrid(*rims, indexing="ij"), axis=-1).reshape(-1, 2))
    spots = (drawing.flatten(corners) * per_metre).reshape(len(rims[0]), len(rims[1]), 2)
    padded = np.pad(levels, 1, mode="edge")
    mesh = place.pcolormesh(
        spots[..., 0],
        spots[..., 1],
        np.ma.masked_less(padded, SCALE.low_db),
        cmap=SCALE.colours,
        norm=SCALE.classes,
        zorder=2,
        rasterized=True,
        edgecolors="none",
        antialiased=False,
    )
    mesh.set_clip_path(outline, place.transData)
    return loudest
