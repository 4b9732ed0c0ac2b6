"""A panel as seen from both ends of paths that meet its plane: the unfolded source and the unfolded ear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.arrays import BoolArray, FloatArray, IntArray
from sim.propagation.surfaces.incidence import Incidences


@dataclass(frozen=True, slots=True)
class PatchViews:
    """One panel and m paths that meet its plane.

    Attributes
    ----------
    sides
        (2, 3) in m, from the first corner to its neighbours.
    source, ear
        (m, 3) in m from the first corner: the ends of each path, all other mirrors unfolded, on the same side.
    whole_m
        (m,) length of each mirrored path.
    cosine
        (m,) of its angle of incidence.
    stretch
        (m,) 1/2 (1/before + 1/after) per metre.
    about
        (m, 4, 2) corners about the reflection point, along and across the plane of incidence, along shortened by the
        cosine and both scaled, so that `stretch` times their square is how much longer the path over them is.
    """

    sides: FloatArray
    source: FloatArray
    ear: FloatArray
    whole_m: FloatArray
    cosine: FloatArray
    stretch: FloatArray
    about: FloatArray

    def __len__(self) -> int:
        return len(self.cosine)

    def chosen(self, rows: IntArray | BoolArray | slice) -> PatchViews:
        """Some of the paths."""
        rest = (getattr(self, name)[rows] for name in PatchViews.__slots__[1:])
        return PatchViews(self.sides, *rest)


def patch_views(corners_m: FloatArray, normal: FloatArray, incidences: Incidences) -> PatchViews:
    """Views of a panel with corners (4, 3) in order, in a plane with a normal (3,), by incidences with that plane."""
    out = normal * -np.sign(np.where(incidences.arriving @ normal == 0.0, -1.0, incidences.arriving @ normal))[:, None]
    level = incidences.arriving - np.einsum("mi,mi->m", incidences.arriving, out)[:, None] * out
    length = np.linalg.norm(level, axis=1, keepdims=True)
    sine = np.sqrt(np.maximum(1.0 - incidences.cosine**2, 0.0))[:, None]
    spare = np.eye(3)[int(np.argmin(np.abs(normal)))]
    spare = spare - (spare @ normal) * normal
    along = np.where(length > 1e-9, level / np.maximum(length, 1e-9), spare / np.linalg.norm(spare))
    up = incidences.cosine[:, None] * out
    source = incidences.point + incidences.before_m[:, None] * (up - sine * along)
    ear = incidences.point + incidences.after_m[:, None] * (up + sine * along)
    whole = incidences.before_m + incidences.after_m
    stretch = 0.5 * (1.0 / incidences.before_m + 1.0 / incidences.after_m)
    relative = corners_m[None] - incidences.point[:, None]
    flat = np.stack(
        [
            np.einsum("mni,mi->mn", relative, along) * incidences.cosine[:, None],
            np.einsum("mni,mi->mn", relative, np.cross(normal, along)),
        ],
        axis=-1,
    )
    longer = sum(np.linalg.norm(corners_m[None] - end[:, None], axis=2) for end in (source, ear)) - whole[:, None]
    square = stretch[:, None] * (flat**2).sum(axis=2)
    scale = np.sqrt(np.maximum(longer, 0.0) / np.maximum(square, 1e-12))
    about = flat * np.where(square > 1e-9, scale, 1.0)[..., None]
    origin = corners_m[0]
    sides = np.stack([corners_m[1] - origin, corners_m[3] - origin])
    return PatchViews(sides, source - origin, ear - origin, whole, incidences.cosine, stretch, about)
