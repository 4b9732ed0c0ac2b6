"""What stands near: the bodies that sound waves are worked out round together, and the walls they stand close to.

Furniture within 0.6 m of a straight line from a driver to an ear is near, and so is whatever stands within 0.3 m of it,
loudspeakers with it, and the panels that lie on it.  The floor goes into the kernel, and walls within 0.3 m that are
square to it and to each other.

Left out: what is a mesh (thin shells, open or not, have no inside), walls that loudspeakers are built into, and
loudspeakers whose directivity was measured, since what was measured holds their cabinet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.answers import printable
from sim.arrays import FloatArray, IntArray
from sim.geometry.facets import Facet
from sim.placement.built_scene import BuiltScene
from sim.placement.in_air import Solids
from sim.placement.panels import PlacedPanel
from sim.placement.solids import shared_depth_m, upright_box
from sim.propagation.waves.elements import outward_quads

BESIDE_PATH_M, BESIDE_BODY_M, BESIDE_WALL_M = 0.6, 0.3, 0.3
SQUARE = 1e-3
HALF_LINE_M = 1e-3
LEVEL = 0.99
THINNEST_PANEL_M = 0.0025
"""Cloth is taken as so thick, above the gaps that the mesh closes."""
ALIKE_M = 1e-5
"""Corners this near to each other are one."""


@printable
@dataclass(frozen=True, slots=True)
class Cluster:
    """Bodies and walls of one wave problem.

    Attributes
    ----------
    bodies
        (b,) name of the body that each solid belongs to.
    solids
        (b, 8, 3) corners in metres.
    walls
        Numbers of the room's facets that go into the kernel: the floor first, as many as are square to each other.
    cabinets
        For each loudspeaker the number of its cabinet among the solids, -1 where its drivers stay point sources.
    left_out
        Names of furniture that stands near but is a mesh.
    panels
        (b,) number of the panel that each solid is, -1 for what is none; a panel has the name of the piece it lies on.
    left_to_edges
        Names of bodies that stand near and are left to edges, since waves round all would take too long.
    """

    bodies: tuple[str, ...]
    solids: FloatArray
    walls: tuple[int, ...]
    cabinets: tuple[int, ...]
    left_out: tuple[str, ...] = ()
    panels: tuple[int, ...] = ()
    left_to_edges: tuple[str, ...] = ()

    @property
    def names(self) -> frozenset[str]:
        """Names of all bodies in it."""
        return frozenset(self.bodies)

    def planes(self, built: BuiltScene) -> list[tuple[FloatArray, float]]:
        """The walls in the kernel, each a normal (3,) into the room and an offset in m."""
        return [(built.room.facets[f].normal, built.room.facets[f].offset_m) for f in self.walls]

    @property
    def bare_solids(self) -> FloatArray:
        """(c, 8, 3) solids that are no panels: a panel hides as much of what it lies on as it shows."""
        return self.solids[[number < 0 for number in self.panels]] if self.panels else self.solids

    @property
    def middle(self) -> FloatArray:
        """(3,) point from which walls are looked at: the middle of the largest solid's upper side, just above it."""
        spans = np.ptp(self.solids, axis=1)
        largest = self.solids[int(np.argmax(np.sort(spans, axis=1)[:, 1:].prod(axis=1)))]
        top = float(largest[:, 2].max())
        return np.append(largest[:, :2].mean(axis=0), top + HALF_LINE_M)


def find_cluster(built: BuiltScene, furniture: Sequence[Solids]) -> Cluster | None:
    """Find what stands near, or None where no furniture does."""
    threads = _threads(built)
    pieces = {piece.name: piece.parts for piece in _standing(built, furniture)}
    cabinets = {}
    for loudspeaker in built.loudspeakers:
        corners = loudspeaker.corners
        measured = any(driver.data_number >= 0 for driver in loudspeaker.model.drivers)
        if corners is not None and not measured:
            cabinets[loudspeaker.body] = (corners,)
    near = {name for name, parts in pieces.items() if _beside(parts, threads, BESIDE_PATH_M)}
    if not near:
        return None
    everything = {**pieces, **cabinets}
    while True:
        more = {
            name
            for name, parts in everything.items()
            if name not in near and any(_beside(parts, everything[other], BESIDE_BODY_M) for other in near)
        }
        if not more:
            break
        near |= more
    chosen = [(name, solid, -1) for name, parts in everything.items() if name in near for solid in parts]
    for number, panel in enumerate(built.panels):
        owner = _owner_of_plane(built, panel.plane)
        if owner in near:
            chosen.append((owner, panel_solid(panel), number))
    bodies, solids = tuple(name for name, _, _ in chosen), np.array([solid for _, solid, _ in chosen])
    numbers = tuple(bodies.index(one.body) if one.body in near else -1 for one in built.loudspeakers)
    meshes = meshes_near(built, furniture)
    panels = tuple(number for _, _, number in chosen)
    return Cluster(bodies, solids, _walls_beside(built, solids), numbers, meshes, panels)


def meshes_near(built: BuiltScene, furniture: Sequence[Solids]) -> tuple[str, ...]:
    """Names of meshes whose upright boxes are near, which the cluster leaves out."""
    found = []
    for piece in furniture:
        own = [f for f, facet in enumerate(built.room.facets) if facet.owner == piece.name]
        if piece.parts or not own:
            continue
        corners = built.room.triangles[np.isin(built.room.facet_of_triangle, own)].reshape(-1, 3)
        low, high = corners.min(axis=0), corners.max(axis=0)
        if _beside([upright_box(0.5 * (low + high), high - low)], _threads(built), BESIDE_PATH_M):
            found.append(piece.name)
    return tuple(found)


def mesh_note(meshes: tuple[str, ...]) -> str:
    """What was done about meshes that stand near, in a sentence; empty where there are none."""
    if not meshes:
        return ""
    names, one = " and ".join(meshes), len(meshes) == 1
    return (
        f"{names} {'stands' if one else 'stand'} near and {'is a mesh' if one else 'are meshes'}, whose inside sound"
        f" waves do not know: {'it acts' if one else 'they act'} by mirrors and edges alone; give"
        f" {'it' if one else 'them'} as blocks for more"
    )


def panel_solid(panel: PlacedPanel) -> FloatArray:
    """A panel as a solid (8, 3) on its surface, two millimetres and more thick: its back, then its face."""
    deep = max(panel.depth_m, THINNEST_PANEL_M) * panel.normal
    return np.concatenate([panel.corners_m, panel.corners_m + deep])


def _owner_of_plane(built: BuiltScene, plane: int) -> str:
    """Name of the body whose facets lie in a plane."""
    facets = np.flatnonzero(built.room.arrays.plane == plane)
    return built.room.facets[int(facets[0])].owner if len(facets) else ""


def nearest_first(built: BuiltScene, furniture: Sequence[Solids]) -> list[Solids]:
    """Furniture as waves may take it, by how near it comes to a straight line from a driver to an ear."""
    threads = _threads(built)

    def depth_m(piece: Solids) -> float:
        return max(shared_depth_m(part, thread) for part in piece.parts for thread in threads)

    return sorted(_standing(built, furniture), key=depth_m, reverse=True)


def _standing(built: BuiltScene, furniture: Sequence[Solids]) -> list[Solids]:
    """Furniture that is no mesh and that no loudspeaker is built into."""
    held = {one.body for one in built.loudspeakers if one.built_into}
    return [piece for piece in furniture if piece.parts and piece.name not in held]


def _threads(built: BuiltScene) -> list[FloatArray]:
    """Thin solids (8, 3) about the straight lines from all drivers to all ears."""
    points = [point for loudspeaker in built.loudspeakers for point in loudspeaker.driver_points]
    return [_thread(np.stack([point, ear])) for point in points for ear in built.ears]


def alike_about(
    solids: FloatArray, walls: Sequence[tuple[FloatArray, float]]
) -> tuple[tuple[FloatArray, float], IntArray] | None:
    """The upright plane (normal, offset) about which solids (b, 8, 3) are alike, and which face each becomes (6 b,).

    None where there is no such plane, or where a wall (normal, offset) in the kernel is not square to it.
    """
    quads = np.concatenate([outward_quads(solid) for solid in solids])
    centre = solids.reshape(-1, 3).mean(axis=0)
    largest = int(np.argmax(np.ptp(solids, axis=1).max(axis=1)))
    for quad in quads[6 * largest : 6 * largest + 6]:
        normal = np.cross(quad[2] - quad[0], quad[3] - quad[1])
        normal = normal / max(float(np.linalg.norm(normal)), 1e-12)
        if abs(normal[2]) > SQUARE or any(abs(float(normal @ wall)) > 1e-9 for wall, _ in walls):
            continue
        offset = float(normal @ centre)
        there = quads - 2.0 * (quads @ normal - offset)[..., None] * normal
        # a face becomes the one that has a corner where each of its own comes to lie
        away = np.linalg.norm(there[:, None, :, None] - quads[None, :, None], axis=4).min(axis=3).max(axis=2)
        if (away.min(axis=1) < ALIKE_M).all():
            return (normal, offset), np.asarray(away.argmin(axis=1))
    return None


def _thread(line: FloatArray) -> FloatArray:
    """A thin solid (8, 3) about a straight line (2, 3)."""
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    across = np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < LEVEL else [1.0, 0.0, 0.0])
    across = HALF_LINE_M * across / np.linalg.norm(across)
    other = np.cross(along, across)
    ring = np.array([across + other, across - other, -across - other, -across + other])
    return np.concatenate([line[0] + ring, line[1] + ring])


def _beside(parts: Sequence[FloatArray], others: Sequence[FloatArray], within_m: float) -> bool:
    """Whether any of some solids is within a distance of any of others (by separating planes)."""
    return any(shared_depth_m(one, other) > -within_m for one in parts for other in others)


def _walls_beside(built: BuiltScene, solids: FloatArray) -> tuple[int, ...]:
    """Facets of the room that go into the kernel."""
    room = built.room
    corners = solids.reshape(-1, 3)
    own = [
        f for f, facet in enumerate(room.facets) if facet.owner == room.owners[0] and built.absorption[f].min() < 1.0
    ]
    found: list[tuple[float, float, int]] = []
    for f in own:
        facet = room.facets[f]
        height = corners @ facet.normal - facet.offset_m
        at = corners[int(np.argmin(height))] - float(height.min()) * facet.normal
        floor = facet.normal[2] > LEVEL
        if (floor or height.min() < BESIDE_WALL_M) and _covers(facet, at, corners):
            found.append((0.0 if floor else 1.0, float(height.min()), f))
    chosen: list[int] = []
    for _, _, f in sorted(found):
        normal = room.facets[f].normal
        if len(chosen) < 3 and all(abs(float(normal @ room.facets[g].normal)) < SQUARE for g in chosen):
            chosen.append(f)
    return tuple(chosen)


def _covers(facet: Facet, point: FloatArray, corners: FloatArray) -> bool:
    """Whether a facet lies under a point of its plane, or under the middle of what stands before it."""
    middle = corners.mean(axis=0)
    middle = middle - (float(middle @ facet.normal) - facet.offset_m) * facet.normal
    return facet.covers(point, 0.01) or facet.covers(middle, 0.01)
