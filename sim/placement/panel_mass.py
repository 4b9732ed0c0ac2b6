"""What a panel weighs and how far off its surface it hangs: what fixings and clearances follow from."""

from __future__ import annotations

import numpy as np

from ..arrays import FloatArray
from .finishes import LayeredFinish

FRAME_BOARD_M = 0.018
FRAME_DENSITY_KG_M3 = 650.0
CLOTH_KG_M2 = 0.3
"""A frame of 18 mm board all round, as deep as the panel, and cloth on its face (common practice, no source)."""


def air_behind_m(finish: LayeredFinish) -> float:
    """Depth of the air between a panel's back and its surface: of the gaps that stand last in its layers."""
    air = 0.0
    for layer in reversed(finish.layers):
        if layer.kind != "gap":
            break
        air += layer.thickness_m
    return air


def panel_mass_kg(finish: LayeredFinish, corners_m: FloatArray) -> float:
    """Estimate of the mass of a panel with corners (4, 3): its layers, a frame of board round them, and cloth.

    A 600 x 1200 x 100 mm panel of wool comes to 7 to 9 kg; framed ones have 6 to 10 kg (common practice, no source).
    The library's masses hold cloth and battens already, so this errs to the heavy side, as it should for fixings.
    Layers whose mass is not known count as nothing.
    """
    sides = np.linalg.norm(np.roll(corners_m, -1, axis=0) - corners_m, axis=1)
    area, rim = float(sides[0] * sides[1]), float(sides.sum())
    thickness = sum(layer.thickness_m for layer in finish.layers) - air_behind_m(finish)
    frame = rim * thickness * FRAME_BOARD_M * FRAME_DENSITY_KG_M3
    return area * (finish.mass_kg_m2 + CLOTH_KG_M2) + frame
