"""What could hurt someone, and heights that contradict each other, said before all else.

Tilted boxes without a strap, boxes that tip off a desk, loads over heads without fixings.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.blueprint.schema import Blueprint
from sim.blueprint.units import length_words, mass_words, small_words
from sim.placement.panels import PlacedPanel
from sim.placement.poses import PlacedLoudspeaker
from sim.placement.supports import hovers, overhang_m

TILT_LIMIT_DEG = 15.0
"""A box tilted further may slide or tip (common practice, no source)."""
OVERHEAD_M = 2.0
"""What hangs higher can fall on a head; IEC 62368-1 takes anything mounted above 2 m as the highest class of hazard
(second-hand)."""


def stop_warnings(
    blueprint: Blueprint, loudspeakers: Sequence[PlacedLoudspeaker], panels: Sequence[PlacedPanel]
) -> tuple[str, ...]:
    """Return sentences on what must be settled before anyone builds the scene; none when all of it is given.

    What cannot be allowed at all, such as a panel over a way out or within 0.30 m of a heater, is refused in
    `sim.placement.panels` and has no sentence here.
    """
    said, unit = [], blueprint.units
    for index, (record, placed) in enumerate(zip(blueprint.loudspeakers, loudspeakers, strict=True)):
        contradiction = hovers(blueprint, index, placed.corners, placed.tilt_deg)
        said += [contradiction] if contradiction else []
        if abs(placed.tilt_deg) > TILT_LIMIT_DEG and not record.strap.strip():
            said.append(
                f"STOP: {placed.name} is tilted {abs(placed.tilt_deg):.0f} degrees and no strap is noted: it may slide "
                f'or tip. Tilt it by {TILT_LIMIT_DEG:.0f} degrees or less, or strap it and say how, with strap = "...".'
            )
        if record.standing == "desk" and placed.corners is not None and not record.strap.strip():
            beyond, piece = overhang_m(blueprint, record, placed.corners.mean(axis=0))
            if beyond > 0.0:
                said.append(
                    f"STOP: the middle of the cabinet of {placed.name} is {small_words(beyond, unit)} beyond the edge "
                    f"of the {piece}: it tips off. Move it onto the {piece}, or fasten it and say how, with "
                    'strap = "...".'
                )
    for panel in panels:
        top = float(np.max(panel.body[:, 2]))
        if top > OVERHEAD_M and not panel.fixings.strip():
            said.append(
                f'STOP: the panel "{panel.name}" reaches {length_words(top, unit)}, over heads, with '
                f"{mass_words(panel.mass_kg, unit)}, and "
                "nothing says how it is fixed. Use rated fixings into joists or anchors and a second tether, and say "
                'so with fixings = "...".'
            )
    return tuple(said)
