"""What is understood of a loudspeaker or its data."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.loudspeakers.loudspeaker import Loudspeaker


def lines(loudspeaker: Loudspeaker) -> list[str]:
    """What the command says."""
    from sim.acoustics.air import Air
    from sim.studies.loudspeaker.text import loudspeaker_lines

    return loudspeaker_lines(loudspeaker, Air())
