"""What one absorber build-up returns, by frequency and angle."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.studies.absorber.table import AbsorberTable


def lines(table: AbsorberTable) -> list[str]:
    """What the command says."""
    from sim.acoustics.air import Air
    from sim.studies.absorber.text import absorber_lines

    return absorber_lines(table.build_up, Air())
