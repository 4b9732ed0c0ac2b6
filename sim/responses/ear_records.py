"""The response at the ear as records: with everything, without one thing at a time, and its notches."""

from __future__ import annotations

from dataclasses import dataclass

from ..acoustics.bands import Bands
from ..answers import printable
from ..arrays import ComplexArray, FloatArray


@printable
@dataclass(frozen=True, slots=True)
class EarLevels:
    """Third-octave levels at the listeners, in dB re the direct sound of the whole loudspeaker in the same band.

    Attributes
    ----------
    bands
        Third-octaves (IEC 61260-1, base ten), 100 Hz to 16 kHz.
    kinds, without
        (case) "everything", then "surface" (of the room), "piece" (furniture or a loudspeaker's box, all of it) or
        "panel"; and the name of what is left out, empty for the first.
    whole_db
        (loudspeaker, listener, case, band) all drivers together.
    driver_db
        (loudspeaker, driver, listener, case, band) each driver alone; -200 where a loudspeaker has no such driver.
    """

    bands: Bands
    kinds: tuple[str, ...]
    without: tuple[str, ...]
    whole_db: FloatArray
    driver_db: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class EarResponse:
    """Complex response at the listeners, re the pressure of the direct sound on axis at its own distance.

    Each `by_...` holds what a thing adds, so that `total` less it is the response without that thing.

    Attributes
    ----------
    frequencies_hz
        (f,).
    direct, total
        (loudspeaker, listener, f).
    by_driver
        (loudspeaker, driver, listener, f) total of each driver alone; zero where a loudspeaker has no such driver.
    surfaces, by_surface
        Names of those that take part; (loudspeaker, listener, surface, f) sum of all paths that touch it.
    pieces, by_piece
        Furniture and loudspeakers' boxes, each as a whole; (loudspeaker, listener, piece, f), less the direct sound
        that it alone hides.
    panels, by_panel
        Names; (loudspeaker, listener, panel, f): with it, less with bare wall in its place.
    levels
        The same in third-octaves, also for each driver.
    """

    frequencies_hz: FloatArray
    direct: ComplexArray
    total: ComplexArray
    by_driver: ComplexArray
    surfaces: tuple[str, ...]
    by_surface: ComplexArray
    pieces: tuple[str, ...]
    by_piece: ComplexArray
    panels: tuple[str, ...]
    by_panel: ComplexArray
    levels: EarLevels


@printable
@dataclass(frozen=True, slots=True)
class Notch:
    """A dip in the response of one loudspeaker at one listener, or one that a panel keeps away.

    Attributes
    ----------
    loudspeaker, listener
        Whose sound, and where.
    frequency_hz
        Where the dip is.
    depth_db
        How far the twelfth-octave mean lies under the one-octave mean.
    driver
        The one that is loudest on axis there.
    surface, rise_db
        The surface without which the dip would fill up most, and by how much; empty when none fills it by 1 dB.
    panel, panel_rise_db
        The panel without which the level here would change most, and by how much: positive, it makes the dip deeper;
        negative, it fills it.  Empty when none changes it by 1 dB.
    present
        False for a dip that is there only without that panel; depth, surface and rise are then those of the ear
        without it.
    """

    loudspeaker: str
    listener: str
    frequency_hz: float
    depth_db: float
    driver: str
    surface: str
    rise_db: float
    panel: str = ""
    panel_rise_db: float = 0.0
    present: bool = True
