"""Begin a scene and check it: the set-up sheet and the plan to confirm."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sim.studies.check.checked import Checked


def lines(checked: Checked) -> list[str]:
    """What the command says."""
    from sim.studies.check.text import setup_lines

    return setup_lines(checked.scene, checked.stage, checked.sheet)
