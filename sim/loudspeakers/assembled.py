"""Loudspeakers given driver by driver, or by what was measured of the whole cabinet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Final

import numpy as np

from sim.blueprint.named_files import MEASURED_KINDS
from sim.errors import SceneError
from sim.loudspeakers.directivity_data import DirectivityData
from sim.loudspeakers.loudspeaker import Loudspeaker
from sim.loudspeakers.pistons import waveguide_note
from sim.loudspeakers.signal import Driver


def read_measured(path: Path, where: str) -> DirectivityData:
    """Read directivity; `where` names the key or argument that named the file.  What stays as it is is read once.

    Raises
    ------
    SceneError
        If there is no such file, it is of no known kind, or says something that cannot be used.
    """
    if path.is_dir():
        return _read(path, where, tuple(_state(each) for each in sorted(path.iterdir()) if each.is_file()))
    if not path.is_file():
        raise SceneError(where, f'there is no file "{path.name}"', f"give {MEASURED_KINDS}")
    return _read(path, where, (_state(path),))


def _state(path: Path) -> tuple[str, int, int]:
    known = path.stat()
    return path.name, known.st_mtime_ns, known.st_size


@lru_cache(maxsize=8)
def _read(path: Path, where: str, states: tuple[tuple[str, int, int], ...]) -> DirectivityData:
    """Read a file or folder; sweeps and poses build the same loudspeaker hundreds of times."""
    if path.is_dir():
        from sim.loudspeakers.impulse_responses import read_impulse_folder

        return read_impulse_folder(path, where)
    suffix = path.suffix.lower()
    if suffix == ".sofa":
        from sim.loudspeakers.sofa_file import read_sofa_file

        return read_sofa_file(path, where)
    if suffix == ".csv":
        from sim.loudspeakers.polar_files import read_polar_file

        return read_polar_file(path, where)
    raise SceneError(where, f'"{path.name}" is of no kind that can be read', f"give {MEASURED_KINDS}")


# Loudspeakers told driver by driver, or by what was measured of the whole box.
#
# Frame and units are those of `sim.loudspeakers.loudspeaker`.

ONE_POINT: Final = "all sound leaves from the acoustic axis point: near by, the paths from its drivers differ"
"""What is assumed of a box that was measured as a whole."""


@dataclass(frozen=True)
class GivenDriver:
    """A driver as a ruler and a data sheet tell it.

    `right_m` is from the middle of the front to the right as seen from the seat, `above_bottom_m` from its lower edge.
    A band from 0 Hz or to infinity is open at that end.
    """

    name: str
    diameter_m: float
    right_m: float
    above_bottom_m: float
    from_hz: float = 0.0
    to_hz: float = np.inf
    slope_db_per_octave: int = 24
    delay_ms: float = 0.0
    gain_db: float = 0.0
    inverted: bool = False
    waveguide_diameter_m: float = 0.0
    coverage_deg: float = 90.0
    data: DirectivityData | None = None


def assembled_loudspeaker(
    name: str,
    box_m: tuple[float, float, float],
    given: Sequence[GivenDriver],
    *,
    axis_m: tuple[float, float] | None = None,
    mass_kg: float | None = None,
    flush: bool = False,
) -> Loudspeaker:
    """Build a loudspeaker from its drivers; `box_m` is (width, height, depth).

    `axis_m` is (right of the middle, above the bottom) of the acoustic axis point; left out, it is the middle of the
    driver that plays highest.  Drivers with the same band share it evenly, and their sum is flat on the axis.

    Raises ValueError, with a sentence, as `Loudspeaker` does, or when two drivers have the same name or overlap
    without being one inside the other.
    """
    names = [driver.name for driver in given]
    if len(set(names)) < len(names):
        twice = next(each for each in names if names.count(each) > 1)
        raise ValueError(f"two drivers of '{name}' are called {twice}; give each its own name")
    _refuse_overlap(name, given)
    half_height = 0.5 * box_m[1]
    if axis_m is None:
        highest = max(given, key=lambda driver: (driver.from_hz, driver.to_hz, -driver.diameter_m), default=None)
        axis_m = (highest.right_m, highest.above_bottom_m) if highest is not None else (0.0, half_height)
    bands = sorted({(driver.from_hz, driver.to_hz) for driver in given})
    # one set of data may serve several drivers
    known = list(dict.fromkeys(id(driver.data) for driver in given if driver.data is not None))
    data = tuple(next(driver.data for driver in given if id(driver.data) == each) for each in known)
    drivers = tuple(
        Driver(
            name=driver.name,
            way=bands.index((driver.from_hz, driver.to_hz)),
            radius_m=0.5 * driver.diameter_m,
            offset_m=(0.0, driver.right_m - axis_m[0], driver.above_bottom_m - axis_m[1]),
            own_band=True,
            from_hz=driver.from_hz,
            to_hz=driver.to_hz,
            slope_db_per_octave=driver.slope_db_per_octave,
            gain_db=driver.gain_db,
            delay_ms=driver.delay_ms,
            inverted=driver.inverted,
            mouth_radius_m=0.5 * driver.waveguide_diameter_m,
            coverage_deg=driver.coverage_deg,
            data_number=known.index(id(driver.data)) if driver.data is not None else -1,
        )
        for driver in given
    )
    notes = [
        f"{name}, {driver.name} ({driver.data.source}): {note}"
        for driver in given
        if driver.data is not None
        for note in driver.data.notes
    ]
    notes += [
        waveguide_note(name, driver.name)
        for driver in given
        if driver.data is None and driver.waveguide_diameter_m > driver.diameter_m
    ]
    return Loudspeaker(
        name,
        "own drivers",
        drivers,
        crossovers_hz=_handovers_hz(bands),
        cabinet_size_m=box_m,
        axis_on_baffle_m=(axis_m[0], axis_m[1] - half_height),
        flush=flush,
        mass_kg=mass_kg,
        data=tuple(each for each in data if each is not None),
        notes=tuple(notes),
    )


def _handovers_hz(bands: Sequence[tuple[float, float]]) -> tuple[float, ...]:
    """Where each band hands over to the next: between the end of one and the beginning of the other."""
    found = []
    for (_, lower_end), (upper_begin, _) in pairwise(bands):
        ends = [edge for edge in (lower_end, upper_begin) if 0.0 < edge < np.inf]
        if ends:
            found.append(float(np.exp(np.mean(np.log(ends)))))
    return tuple(found)


def measured_loudspeaker(
    name: str,
    data: DirectivityData,
    *,
    box_m: tuple[float, float, float] | None = None,
    axis_m: tuple[float, float] | None = None,
    mass_kg: float | None = None,
    flush: bool = False,
) -> Loudspeaker:
    """Build a loudspeaker from what was measured of the whole of it: one driver at the acoustic axis point.

    `axis_m` is (right of the middle, above the bottom) of the point about which it was turned; left out, the middle of
    the front.  All sound leaves from that point, so the way from each driver by itself is not known.

    Raises ValueError, with a sentence, as `Loudspeaker` does.
    """
    on_baffle = (0.0, 0.0)
    if axis_m is not None and box_m is not None:
        on_baffle = (axis_m[0], axis_m[1] - 0.5 * box_m[1])
    whole = Driver("whole cabinet", 0, 0.0, (0.0, 0.0, 0.0), data_number=0)
    notes = tuple(f"{name} ({data.source}): {note}" for note in (*data.notes, ONE_POINT))
    return Loudspeaker(
        name,
        "measured",
        (whole,),
        cabinet_size_m=box_m,
        axis_on_baffle_m=on_baffle,
        flush=flush,
        mass_kg=mass_kg,
        data=(data,),
        notes=notes,
    )


def _refuse_overlap(name: str, given: Sequence[GivenDriver]) -> None:
    for number, one in enumerate(given):
        for other in given[number + 1 :]:
            apart = float(np.hypot(one.right_m - other.right_m, one.above_bottom_m - other.above_bottom_m))
            radii = sorted(0.5 * max(each.diameter_m, each.waveguide_diameter_m) for each in (one, other))
            inside = apart + radii[0] <= radii[1] + 1e-9  # a coaxial tweeter sits in its woofer
            if not inside and apart < sum(radii) - 1e-9:
                raise ValueError(
                    f"the {one.name} and the {other.name} of '{name}' overlap by {1000 * (sum(radii) - apart):.0f} mm; "
                    "check their places and diameters"
                )
