"""Edges of panels that stand proud of their surface: diffraction at the four front edges of each.

A panel at least 20 mm deep is a body on its wall.  Its front edges are wedges of three quarters of a turn of air, from
its face (face 0) to its rim side, which goes down to the wall.  Of the four terms of such a wedge (`edge_kernels`)

- the two with the borders of shadow have weight 1;
- that with the border of the face's mirror zone has weight 0, as the Fresnel share F of the face carries that border
  already (`surface_factors`): once is enough;
- that of the rim side has weight 1, a rigid frame, whatever the panel is filled with.

Where a panel is thin against the wavelength, edge, rim and wall together are a flat wall, which an edge alone knows
nothing of: so all is weighted by sin^2(kd), d the depth, up to a quarter of a wavelength, and 1 above.  The weight is
our own.  Its check is a hard panel on a hard wall, which is half of a free plate twice as thick: with it the frame
takes up to half a decibel off the error of F and adds nothing to it (0.1 dB); without it the error of thin panels would
be 13 dB larger under 500 Hz, -17 in place of -30 dB re direct.

Ends lower than the face, between panel and wall, get nothing, since the panel's shadow on what passes it is not known
either; over the last 10 degrees above the face's plane the weight fades to 0, so that nothing jumps.

Left out: thinner panels; mirrors before and after (no border of theirs depends on these edges, and they are some 10 dB
below); two edges in turn; the upright edges between rim sides; edges against another surface or panel; other panels
in the way.
"""

from __future__ import annotations

import numpy as np

from sim.arrays import ComplexArray, FloatArray
from sim.placement.built_scene import BuiltScene
from sim.placement.panels import PlacedPanel
from sim.propagation.edges.bare import TOUCH_M
from sim.propagation.edges.plates import Radiation
from sim.propagation.edges.single import EdgePaths, edge_gains
from sim.propagation.edges.wedges import KnownWedges, Wedge

PROUD_FROM_M = 0.02
"""Panels less deep than this (cloth, thin felt) have no edges: sin^2(kd) of 20 mm is below -24 dB under 700 Hz."""
AIR_RAD = 1.5 * np.pi
FADE_RAD = np.radians(10.0)
EDGES = 4


def panel_of(built: BuiltScene, edge: int) -> int:
    """Number of the panel to whose frame an edge belongs, -1 for an edge of the room and for a chain.

    Edges of frames are numbered on from those of the room, four to each panel in turn, proud or not.
    """
    past = edge - len(built.room.edges.ends)
    return past // EDGES if past >= 0 else -1


def frame_edges(built: BuiltScene) -> dict[int, Wedge]:
    """Front edges of all panels that stand proud and touch nothing there, as wedges by their number."""
    found: dict[int, Wedge] = {}
    first = len(built.room.edges.ends)
    for number, panel in enumerate(built.panels):
        if panel.depth_m < PROUD_FROM_M:
            continue
        for side in range(EDGES):
            wedge = _front_edge(panel, side)
            ends = np.stack([wedge[0], wedge[0] + wedge[4] * wedge[1]])
            touching = any(other is not panel and _within(ends.mean(axis=0), other) for other in built.panels)
            if not touching and not any(facet.covers(ends.mean(axis=0), TOUCH_M) for facet in built.room.facets):
                found[first + EDGES * number + side] = wedge
    return found


def _front_edge(panel: PlacedPanel, side: int) -> Wedge:
    face = panel.corners_m + panel.depth_m * panel.normal
    start, stop = face[side], face[(side + 1) % EDGES]
    length = float(np.linalg.norm(stop - start))
    along = (stop - start) / length
    into = np.cross(panel.normal, along)
    into = into * np.sign(into @ (face.mean(axis=0) - start))
    return start.copy(), along, into, panel.normal.copy(), length, AIR_RAD


def _within(point: FloatArray, panel: PlacedPanel) -> bool:
    """Whether a point lies in or on the body of a panel."""
    first, last = panel.corners_m[1] - panel.corners_m[0], panel.corners_m[3] - panel.corners_m[0]
    way = point - panel.corners_m[0]
    spans = ((first, float(np.linalg.norm(first))), (last, float(np.linalg.norm(last))), (panel.normal, panel.depth_m))
    return all(-TOUCH_M <= float(way @ (axis / np.linalg.norm(axis))) <= reach + TOUCH_M for axis, reach in spans)


def frame_gains(
    built: BuiltScene,
    source: FloatArray,
    ear: FloatArray,
    own: int,
    frames: dict[int, Wedge],
    frequencies_hz: FloatArray,
    radiation: Radiation | None = None,
) -> tuple[EdgePaths, ComplexArray]:
    """Bend sound from a source (3,) round frames to an ear (3,); also the gains (p, f) as weighted above.

    own: number of the loudspeaker's own cabinet, which does not hide its driver.
    """
    speed = built.air.speed_of_sound_m_s
    known = frames if isinstance(frames, KnownWedges) else KnownWedges(frames)
    found = edge_gains(built.room, source, ear, own, frequencies_hz, speed, radiation, wedges=known, bare={})
    wavenumber = 2.0 * np.pi * frequencies_hz / speed
    gains = found.parts[:, 0] + found.parts[:, 2]
    for row, edge in enumerate(found.edges.tolist()):
        panel = built.panels[panel_of(built, edge)]
        above = [_above_face(end, frames[edge]) for end in (source, ear)]
        deep = np.sin(np.minimum(wavenumber * panel.depth_m, 0.5 * np.pi)) ** 2
        gains[row] *= above[0] * above[1] * deep
    return found, np.asarray(gains)


def _above_face(end: FloatArray, wedge: Wedge) -> float:
    """Weight by how far an end is above the plane of the face, seen from the edge: 0 below it, 1 from 10 degrees on."""
    start, _, into, normal = wedge[:4]
    way = end - start
    low = np.arctan2(way @ normal, abs(way @ into))
    return float(np.sin(0.5 * np.pi * np.clip(low / FADE_RAD, 0.0, 1.0)) ** 2)


def frame_side(built: BuiltScene, edge: int) -> str:
    """Say on which side of its panel an edge of a frame is: "upper", "lower", "front", "rear", "left" or "right"."""
    panel = built.panels[panel_of(built, edge)]
    wedge = _front_edge(panel, (edge - len(built.room.edges.ends)) % EDGES)
    outward = -wedge[2]
    axis = int(np.argmax(np.abs(outward)))
    low, high = (("front", "rear"), ("left", "right"), ("lower", "upper"))[axis]
    return high if outward[axis] > 0.0 else low
