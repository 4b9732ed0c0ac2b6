"""Whether there is room for a panel among everything as it stands: what hanging one asks of many places in a row.

Only the panel itself is looked at, by the same functions that judge the panels of a whole scene: nothing else has
changed since that was built.  A place that passes is built as a whole all the same before anything hangs there.
"""

from __future__ import annotations

from functools import cached_property
from pathlib import Path
from typing import Final

import numpy as np

from sim.arrays import FloatArray
from sim.blueprint.schema import Blueprint
from sim.errors import SceneError
from sim.geometry.patches import EDGE_TOLERANCE_M
from sim.placement.built_scene import BuiltScene
from sim.placement.collisions import solids_of
from sim.placement.finishes import layered_finishes
from sim.placement.panel_collisions import refuse_panel_collisions
from sim.placement.panels import PlacedPanel, place_panels
from sim.placement.poses import PlacedLoudspeaker, pulled_flush
from sim.placement.solids import share_space
from sim.placement.supports import silent_loudspeakers
from sim.studies.view.edits import Hung, panel_of

AXES: Final = {"from_front": 0, "from_left": 1, "up": 2}
PLAY_M: Final = 10.0 * EDGE_TOLERANCE_M


class RoomForPanels:
    """The room as it is built, with what panels have to keep clear of."""

    def __init__(self, blueprint: Blueprint, built: BuiltScene, folder: Path) -> None:
        self.blueprint, self.built, self.folder = blueprint, built, folder
        self._solids = solids_of(blueprint.furniture)
        self._spans: dict[str, tuple[FloatArray, FloatArray] | None] = {}

    @cached_property
    def _loudspeakers(self) -> list[PlacedLoudspeaker]:
        """Those that play and those that only stand there."""
        room, playing = self.built.room, self.built.loudspeakers
        silent = silent_loudspeakers(self.blueprint, self.folder)
        return [*playing, *(pulled_flush(room, len(playing) + n, one)[0] for n, one in enumerate(silent))]

    def holds(self, more: tuple[Hung, ...]) -> bool:
        """Whether these panels have room, beside each other too."""
        if not all(self._within(hung) for hung in more):
            return False
        try:
            panels = self._placed(more)
            if any(share_space(new.body, old.body) for new in panels for old in self.built.panels):
                return False
            built = self.built
            refuse_panel_collisions(
                built.room,
                panels,
                self._loudspeakers,
                built.ears,
                built.listener_names,
                built.head_box,
                self.blueprint.openings,
                self._solids,
                self.blueprint.units,
            )
        except SceneError:
            return False
        return True

    def _placed(self, more: tuple[Hung, ...]) -> tuple[PlacedPanel, ...]:
        records = tuple(panel_of(self.blueprint, hung) for hung in more)
        alone = self.blueprint.model_copy(update={"panels": records})
        return place_panels(alone, self.built.room, layered_finishes(alone, (), records))[0]

    def _within(self, hung: Hung) -> bool:
        """Whether a panel lies within the spans of its surface at all: most that do not fit on it do not."""
        if hung.surface not in self._spans:
            self._spans[hung.surface] = self._spans_of(hung.surface)
        spans = self._spans[hung.surface]
        if spans is None:
            return False
        return all(spans[0][AXES[key]] <= start and end <= spans[1][AXES[key]] for key, start, end in hung.spans)

    def _spans_of(self, surface: str) -> tuple[FloatArray, FloatArray] | None:
        """Least and greatest coordinates of a surface with the openings in its planes; None where there is none."""
        room = self.built.room
        planes = {room.facets[n].plane for n in room.facet_numbers(surface)}
        names = {surface, *(one.name for one in self.blueprint.openings)}
        numbers = [n for n, facet in enumerate(room.facets) if facet.plane in planes and facet.name in names]
        if not numbers:
            return None
        corners = room.triangles[np.isin(room.facet_of_triangle, numbers)].reshape(-1, 3)
        return corners.min(axis=0) - PLAY_M, corners.max(axis=0) + PLAY_M
