"""model.glb: room, furniture, loudspeakers, panels and hotspots as named bodies for any program that reads glTF 2.0.

glTF is right-handed, in metres, with +Y up and the front of a scene toward +Z (Khronos Group, glTF 2.0, section 3.4).
The room's own frame (depth, across, up) becomes x = across, y = up, z = depth: a turn of the axes without a mirror, so
left stays left; whoever looks from the seat toward the front wall looks along -z.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np

from sim import __version__
from sim.arrays import FloatArray
from sim.blueprint.reader import SceneFile
from sim.geometry.unions import united_polygon
from sim.machine.whole_files import write_whole
from sim.placement.built_scene import BuiltScene
from sim.responses.records import Results, SurfaceMap
from sim.showing.page import LOWEST_DB, level_colour, loudspeaker_looks
from sim.showing.scene_data import kind_of, panel_box

LIFT_M: Final = 0.004
"""Hotspots lie this far in front of their surface, so that the two are not mixed when drawn."""
PAINTS: Final = {
    "room": (0.93, 0.92, 0.89, 0.35),
    "window": (0.62, 0.76, 0.88, 0.35),
    "door": (0.80, 0.70, 0.55, 0.6),
    "furniture": (0.72, 0.63, 0.50, 1.0),
    "loudspeaker": (0.13, 0.13, 0.13, 1.0),
    "panel": (0.36, 0.52, 0.42, 1.0),
    "hotspots": (1.0, 1.0, 1.0, 1.0),
    "seat": (0.1, 0.1, 0.1, 1.0),
}
MARK_M: Final = 0.03
_QUADS: Final = ((3, 2, 1, 0), (4, 5, 6, 7), (0, 1, 5, 4), (1, 2, 6, 5), (2, 3, 7, 6), (3, 0, 4, 7))


def write_model3d(results: Results, path: Path, *, band_hz: float = 1000.0) -> None:
    """Write a GLB file; it appears whole or not at all.

    Nodes are called "room: left wall", "furniture: desk", "loudspeaker: left", "driver: left tweeter", "panel: ...",
    "seat: ear" and "hotspots 1000 Hz: left wall"; hotspots carry a colour for each vertex, all loudspeakers together.

    Raises
    ------
    ValueError
        If `band_hz` is not one of the octaves.
    OutputError
        If the file cannot be written.
    """
    write_whole(path, model_scene(results, band_hz).export(file_type="glb"), "the model")


def to_gltf(points: FloatArray) -> FloatArray:
    """Points (..., 3) of the room (depth, across, up) as glTF wants them: across, up, depth."""
    return np.asarray(points)[..., [1, 2, 0]]


def model_scene(results: Results, band_hz: float) -> Any:
    """Return the whole model as a trimesh scene."""
    found = np.flatnonzero(results.responses.bands.nominal_hz == band_hz)
    if len(found) == 0:
        raise ValueError(f"{band_hz:g} Hz is not one of the octaves that were calculated")
    scene = body_scene(results.scene, results.built)
    for surface_map in results.responses.maps:
        triangles, colours = hotspot_triangles(results, surface_map, surface_map.both_db[int(found[0])])
        if len(triangles):
            _add(scene, f"hotspots {band_hz:g} Hz: {surface_map.surface}", triangles, "hotspots", colours)
    return scene


def body_scene(read: SceneFile, built: BuiltScene) -> Any:
    """Room, furniture, loudspeakers, panels and seats as a trimesh scene, nothing being traced."""
    import trimesh

    scene = trimesh.Scene()
    scene.metadata["generator"] = f"bounceplan {__version__}"
    scene.metadata["scene_hash"] = read.digest
    room = built.room
    parts: dict[tuple[str, str], list[int]] = {}
    for place, facet in enumerate(room.facets):
        kind = kind_of(read.blueprint, built, facet.name, facet.owner)
        name = f"room: {facet.name}" if facet.owner == room.owners[0] else f"{kind}: {facet.owner}"
        parts.setdefault((name, kind), []).append(place)
    names = {one.body: one.name for one in built.loudspeakers}
    for (name, kind), facets in parts.items():
        triangles = room.triangles[np.isin(room.facet_of_triangle, facets)]
        reported = f"loudspeaker: {names[name.partition(': ')[2]]}" if kind == "loudspeaker" else name
        _add(scene, reported, triangles, kind)
    for one, look in zip(built.loudspeakers, loudspeaker_looks([o.name for o in built.loudspeakers]), strict=True):
        red, green, blue = (int(look.colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5))
        for driver, point in zip(one.model.drivers, one.driver_points, strict=True):
            _add(scene, f"driver: {one.name} {driver.name}", _mark(point), "loudspeaker", paint=(red, green, blue, 1.0))
    for panel in built.panels:
        box = panel_box(panel)
        quads = box[np.array(_QUADS)]
        if np.cross(box[1] - box[0], box[3] - box[0]) @ panel.normal < 0.0:
            quads = quads[:, ::-1]  # corners run either way round, faces look outward
        triangles = np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
        _add(scene, f"panel: {panel.name}", triangles, "panel")
    for name, ear in zip(built.listener_names, built.ears, strict=True):
        _add(scene, f"seat: {name}", _mark(ear), "seat")
    return scene


def hotspot_triangles(
    results: Results, surface_map: SurfaceMap, levels_db: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return triangles (n, 3, 3) in the room and their colours (n, 3): cells above the scale's low end.

    Cells are squares of the map's grid, cut where they reach over the edge of the surface.
    """
    import shapely

    room = results.built.room
    facet = room.facets[surface_map.facet]
    loud = levels_db >= LOWEST_DB
    half = 0.5 * surface_map.grid_m
    middles = facet.to_plane(surface_map.points[loud])
    cells = shapely.box(*(middles - half).T, *(middles + half).T)
    surface = united_polygon(facet.to_plane(room.triangles[room.facet_of_triangle == surface_map.facet]))
    cut: list[Any] = np.atleast_1d(np.asarray(shapely.intersection(cells, surface), dtype=object)).tolist()
    made, colours = [], []
    for shape, level in zip(cut, levels_db[loud].tolist(), strict=True):
        rgb = [int(level_colour(level)[at : at + 2], 16) for at in (1, 3, 5)]
        for piece in _triangles_of(shape):
            made.append(piece)
            colours.append(rgb)
    if not made:
        return np.zeros((0, 3, 3)), np.zeros((0, 3))
    flat = facet.from_plane(np.array(made)) + LIFT_M * facet.normal
    return flat, np.array(colours, dtype=np.float64)


def _triangles_of(shape: Any) -> Iterable[FloatArray]:
    """Triangles (3, 2) of a polygon or several; a square cell or what is left of it at a straight edge is convex."""
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type != "Polygon" or part.area < 1e-8:
            continue
        ring = np.asarray(part.exterior.coords)[:-1, :2]
        if part.convex_hull.area - part.area < 1e-9:
            # shapely gives rings of one sense of turning, but not which; faces are made two-sided anyway
            yield from (ring[[0, k, k + 1]] for k in range(1, len(ring) - 1))
        else:
            import shapely

            for piece in shapely.constrained_delaunay_triangles(part).geoms:
                yield np.asarray(piece.exterior.coords)[:3, :2]


def _mark(point: FloatArray) -> FloatArray:
    """A small octahedron (8, 3, 3) round a point."""
    ends = np.vstack([np.eye(3), -np.eye(3)]) * MARK_M + point
    faces = [(0, 1, 2), (1, 3, 2), (3, 4, 2), (4, 0, 2), (1, 0, 5), (3, 1, 5), (4, 3, 5), (0, 4, 5)]
    return np.asarray(ends[np.array(faces)])


def _add(
    scene: Any,
    name: str,
    triangles: FloatArray,
    kind: str,
    colours: FloatArray | None = None,
    paint: tuple[float, float, float, float] | None = None,
) -> None:
    """Add triangles (n, 3, 3) of the room as a body of its own."""
    import trimesh
    from trimesh.visual.material import PBRMaterial

    colour = paint or PAINTS[kind]
    material = PBRMaterial(
        name=kind if paint is None else name,
        baseColorFactor=[*colour],
        metallicFactor=0.0,
        roughnessFactor=1.0,
        doubleSided=True,
        alphaMode="OPAQUE" if colour[3] == 1.0 else "BLEND",
    )
    places = to_gltf(triangles.reshape(-1, 3))
    visual = trimesh.visual.TextureVisuals(material=material)
    if colours is not None:
        rgba = np.column_stack([colours, np.full(len(colours), 255.0)]).astype(np.uint8)
        visual.vertex_attributes["color"] = np.repeat(rgba, 3, axis=0)
    mesh = trimesh.Trimesh(places, np.arange(len(places)).reshape(-1, 3), visual=visual, process=False)
    scene.add_geometry(mesh, node_name=name, geom_name=name)
