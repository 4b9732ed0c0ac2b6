"""Tables of a study of bounces: strongest spots, and shares of surfaces.  UTF-8, comma separated."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from ..responses.bounce_records import BounceStudy
from .cells import number_cell, write_table

SPOTS = (
    "loudspeaker", "bounce", "surface", "of", "from_front_m", "from_left_m", "up_m", "level_db", "error_db",
    "share_percent", "delay_ms", "mirrored_percent",
)  # fmt: skip
SURFACES = ("loudspeaker", "bounce", "surface", "of", "share_percent", "highest_db")


def write_bounces(study: BounceStudy, folder: Path) -> None:
    """Write bounce_spots.csv and bounce_surfaces.csv into a folder.

    Raises
    ------
    OutputError
        If one cannot be written.
    """
    write_table(
        folder / "bounce_spots.csv",
        SPOTS,
        (
            [
                spot.loudspeaker, str(spot.bounce), spot.surface, spot.owner,
                *(number_cell(float(value), 3) for value in spot.point),
                f"{spot.level_db:.1f}", f"{spot.error_db:.2f}", f"{100.0 * spot.share:.1f}", f"{spot.delay_ms:.2f}",
                f"{100.0 * spot.mirrored:.0f}",
            ]
            for spot in study.spots
        ),
    )  # fmt: skip
    write_table(folder / "bounce_surfaces.csv", SURFACES, _surfaces(study))


def _surfaces(study: BounceStudy) -> Iterable[list[str]]:
    for s, loudspeaker in enumerate(study.stage.loudspeakers):
        for bounce in range(3):
            ranked = sorted(study.maps, key=lambda one: -float(one.share[s, bounce]))
            for one in ranked:
                share, level = float(one.share[s, bounce]), float(one.level_db[s, bounce].max())
                if share > 0.0:
                    told = [f"{100.0 * share:.2f}", f"{level:.1f}"]
                    yield [loudspeaker.name, str(bounce + 1), one.surface, one.owner, *told]
