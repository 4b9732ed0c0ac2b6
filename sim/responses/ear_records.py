"""What is heard at an ear: levels, the response by frequency with its notches, energy by time with its peaks."""

from __future__ import annotations

from dataclasses import dataclass

from sim.acoustics.bands import Bands
from sim.answers import printable
from sim.arrays import ComplexArray, FloatArray


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
class EarWindow:
    """How much of the sound a response at the ear holds, and what comes after it.

    Attributes
    ----------
    window_ms
        Every path to this long after the direct sound is in the response, whatever its order; over the next tenth of
        it paths fade out.
    paths, most_mirrors
        Number of mirrored paths in it, all drivers and listeners together; most mirrors of any of them.
    searched_mirrors, complete
        Mirrors to which was searched; whether the search ended by itself, so that there is no further path.
    left_out_db
        Estimate of the energy in the window that the search did not reach, dB re direct at 1 kHz; -200: none.
    octave_hz
        (octave,) middles 63 Hz to 8 kHz, of `late_db`.
    late_db
        (loudspeaker, listener, octave) energy after the window, by rays, dB re direct.
    with_room_db
        (loudspeaker, listener, band) third-octaves of `EarLevels`: everything in the window, with the energy after it
        added as energy.
    """

    window_ms: float
    paths: int
    most_mirrors: int
    searched_mirrors: int
    complete: bool
    left_out_db: float
    octave_hz: FloatArray
    late_db: FloatArray
    with_room_db: FloatArray


@printable
@dataclass(frozen=True, slots=True)
class EarResponse:
    """Complex response at the listeners, re the pressure of the direct sound on axis at its own distance.

    It holds what arrives inside `window`.

    Each `by_...` holds what a thing adds, so that `total` less it is the response without that thing.  For pieces and
    panels that is what mirrors and edges say, their own edges included, also where `total` is that of sound waves,
    which know all that stands near only at once; a piece that stands near alone, no drivers in it, adds its waves.

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
    window
        What of the sound is in it.
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
    window: EarWindow


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


# What reaches the ear, as records: arrivals, curves, maps and the verdict against the target.
#
# Batch axes: (loudspeaker, listener, band or frequency, time).  Levels are dB re the direct sound of the same
# loudspeaker in the same band, as it would be if nothing hid it.


@printable
@dataclass(frozen=True, slots=True)
class Peak:
    """A local maximum of an energy-time curve.

    Attributes
    ----------
    time_ms, level_db
        When it is, after the direct sound, and its level re the peak of the direct sound.
    arrivals
        Numbers of the arrivals that can have made it, most likely first.
    label
        What a picture writes beside it.
    """

    time_ms: float
    level_db: float
    arrivals: tuple[int, ...]
    label: str


@printable
@dataclass(frozen=True, slots=True)
class EnergyTimeCurve:
    """Level of the impulse response's envelope over time.

    Attributes
    ----------
    time_ms
        (t,) from the direct sound, negative before it.
    flight_ms
        (loudspeaker, listener) to be added to count from the loudspeaker.
    broadband_db, octave_db
        (loudspeaker, listener, t) and (loudspeaker, listener, band, t), each re its own direct peak.
    impulse
        (loudspeaker, listener, t) the response itself, direct peak 1.
    bands
        Octaves of `octave_db`.
    peaks
        `peaks[loudspeaker][listener]`: named maxima of the broadband curve.
    """

    time_ms: FloatArray
    flight_ms: FloatArray
    broadband_db: FloatArray
    octave_db: FloatArray
    impulse: FloatArray
    bands: Bands
    peaks: tuple[tuple[tuple[Peak, ...], ...], ...]
