"""What to stack so that the axis is at ear height, and whether it stands."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.studies.stand.answer import Stacks


def lines(stacks: Stacks) -> list[str]:
    """What the command says."""
    from sim.studies.stand.text import stand_lines

    return stand_lines(stacks)
