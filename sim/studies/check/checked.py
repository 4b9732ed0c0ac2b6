"""A scene read and built, with its set-up sheet: what `check` answers before anything is traced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sim.answers import Answer, Labelled
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.placement.sheet import SetupSheet, setup_sheet
from sim.placement.sheet_seat import SeatSheet, seat_sheet
from sim.placement.stage import Stage, set_stage


@dataclass(frozen=True, slots=True, repr=False)
class Checked(Answer):
    """A scene that can be, and how it is set up.

    Attributes
    ----------
    scene
        What was read.
    stage
        What was built of it.
    sheet
        Triangle, heights, aiming, sight lines.
    seat
        Where the seat is in the room.
    """

    question: ClassVar[str] = "check"

    scene: SceneFile
    stage: Stage
    sheet: SetupSheet
    seat: SeatSheet

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences on what is possible but deserves a look."""
        return (*self.scene.warnings, *self.sheet.warnings, *self.seat.warnings)

    def headline(self) -> str:
        """Whether there is anything to look at."""
        odd = len(self.warnings)
        first = self.warnings[0].split(". ")[0].split("; ")[0] if odd else ""
        look = f"{odd} thing{'s' * (odd != 1)} to look at: {first}" if odd else "nothing odd"
        return f"{self.scene.blueprint.title}: {look}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each loudspeaker: distances in metres, angles in degrees, time in milliseconds."""
        names = (
            "name",
            "side",
            "model",
            "distance_m",
            "flight_time_ms",
            "axis_height_m",
            "axis_height_over_ear_m",
            "toe_in_deg",
            "tilt_deg",
            "roll_deg",
            "toe_in_error_deg",
            "tilt_error_deg",
            "axis_error_deg",
        )
        return [{name: getattr(one, name) for name in names} for one in self.sheet.loudspeakers]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        return {
            "loudspeaker": ([one.name for one in self.stage.loudspeakers], ""),
            "listener": (list(self.stage.listener_names), ""),
            "direction": (["from_front", "from_left", "up"], ""),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        return {
            "axis_point": (("loudspeaker", "direction"), [one.axis_point for one in self.stage.loudspeakers], "m"),
            "ear": (("listener", "direction"), self.stage.ears, "m"),
        }


def check(scene: AnyScene) -> Checked:
    """Read a scene, build it, which finds whatever cannot be, and measure its set-up sheet; nothing is traced.

    Raises
    ------
    SceneError
        With the key that is at fault and what would work.
    """
    read = read_scene(scene)
    stage = set_stage(read.blueprint, read.folder)
    return Checked(read, stage, setup_sheet(stage, read.blueprint.units), seat_sheet(read.blueprint, stage))
