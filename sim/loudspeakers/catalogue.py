"""Generic loudspeakers from outer dimensions, for people whose own have no published data.

Frame and units are those of `sim.loudspeakers.loudspeaker`, whose records are offered here too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

import numpy as np

from sim.arrays import FloatArray
from sim.loudspeakers.loudspeaker import KINDS, Kind, Loudspeaker
from sim.loudspeakers.pistons import waveguide_note
from sim.loudspeakers.signal import Driver

__all__ = ["KINDS", "TYPICAL", "Axis", "Design", "Driver", "Kind", "Loudspeaker", "generic_loudspeaker"]

Axis: TypeAlias = Literal["tweeter", "between"]
"""Where the acoustic axis point is: at the tweeter, or between it and the driver next to it."""


@dataclass(frozen=True, slots=True)
class Design:
    """What is known of a loudspeaker of a generic kind; what is None is typical of the kind.

    Attributes
    ----------
    width_m, height_m, depth_m
        Of the upright box; a point may do without.
    mass_kg
        Of the whole loudspeaker.
    woofer_diameter_m, tweeter_diameter_m, mid_diameter_m
        Of what moves, not of the frame.
    spacing_m, mid_spacing_m
        From the centre of the woofer, and of the mid, to that of the tweeter.
    crossovers_hz
        One for a two-way or coaxial, two for a three-way, the lowest first.
    slope_db_per_octave
        Of the crossovers: 12, 18 or 24.
    axis
        Where the acoustic axis point is.
    plate_turn_deg
        Turn of the plate that carries mid and tweeter of a three-way about its middle, in the sense of roll: +90 puts
        the tweeter to the right.
    waveguide_diameter_m
        Of the mouth of a waveguide round the tweeter; None: there is none.
    coverage_deg
        What the waveguide covers between the directions at -6 dB.
    """

    width_m: float | None = None
    height_m: float | None = None
    depth_m: float | None = None
    mass_kg: float | None = None
    woofer_diameter_m: float | None = None
    tweeter_diameter_m: float | None = None
    mid_diameter_m: float | None = None
    spacing_m: float | None = None
    mid_spacing_m: float | None = None
    crossovers_hz: tuple[float, ...] | None = None
    slope_db_per_octave: int = 24
    axis: Axis | None = None
    plate_turn_deg: float = 0.0
    waveguide_diameter_m: float | None = None
    coverage_deg: float = 90.0


TYPICAL_DESIGN: Final = Design()


@dataclass(frozen=True, slots=True)
class _Sizes:
    """Dimensions of a box of its kind, all known.  Diameters are of what moves, not of the frame."""

    width_m: float
    height_m: float
    depth_m: float
    mass_kg: float
    tweeter_below_top_m: float
    tweeter_diameter_m: float
    woofer_diameter_m: float
    spacing_m: float
    mid_diameter_m: float
    mid_spacing_m: float
    crossovers_hz: tuple[float, ...]
    axis: Axis


TYPICAL: Final[dict[str, _Sizes]] = {
    "two-way": _Sizes(0.18, 0.29, 0.23, 5.5, 0.07, 0.025, 0.105, 0.15, 0.0, 0.0, (2200.0,), "tweeter"),
    "three-way": _Sizes(0.29, 0.49, 0.36, 22.0, 0.065, 0.025, 0.205, 0.29, 0.085, 0.10, (450.0, 2800.0), "between"),
    "coaxial": _Sizes(0.25, 0.35, 0.30, 10.0, 0.175, 0.025, 0.165, 0.0, 0.0, 0.0, (2200.0,), "tweeter"),
}
"""Common practice, no source: a 5-inch two-way, a 10-inch upright three-way, a coaxial 0.25 m wide."""


def generic_loudspeaker(
    kind: Kind, design: Design = TYPICAL_DESIGN, *, name: str | None = None, flush: bool = False
) -> Loudspeaker:
    """Build a loudspeaker of a generic kind; what is not known of it is typical of the kind.

    Where the box is not of the typical size, spacings and the tweeter's distance from the top grow with the
    height, cones with the smaller of width and height, and mass with the volume, unless given.

    A coaxial has both drivers at one point in the middle of the baffle; a point has one driver and, unless
    width, height and depth are given, no box.  A loudspeaker that is `flush` is built into a wall.

    Raises ValueError, with a sentence, for an unknown kind or axis, a wrong number of crossovers, a box that
    is incomplete, or drivers that do not fit on the baffle or overlap.
    """
    if kind not in KINDS:
        raise ValueError(f"'{kind}' is not a kind of loudspeaker; choose from {', '.join(KINDS)}")
    called = name if name is not None else f"generic {kind}"
    if kind == "point":
        given = tuple(size for size in (design.width_m, design.height_m, design.depth_m) if size is not None)
        if len(given) not in (0, 3):
            raise ValueError(f"'{called}' has an incomplete cabinet; give width, height and depth, or none of them")
        box = (given[0], given[1], given[2]) if given else None
        driver = Driver("point", 0, 0.0, (0.0, 0.0, 0.0))
        return Loudspeaker(called, kind, (driver,), cabinet_size_m=box, flush=flush, mass_kg=design.mass_kg)

    sizes = _completed(called, kind, design)
    tweeter_radius = 0.5 * sizes.tweeter_diameter_m
    woofer_radius = 0.5 * sizes.woofer_diameter_m
    mid_radius = 0.5 * sizes.mid_diameter_m
    mouth = 0.5 * design.waveguide_diameter_m if design.waveguide_diameter_m is not None else 0.0
    # Places on the baffle, (right, up) from its centre.
    tweeter = np.array([0.0, 0.5 * sizes.height_m - sizes.tweeter_below_top_m])
    woofer = tweeter - [0.0, sizes.spacing_m]
    placed = [("woofer", woofer_radius, woofer), ("tweeter", tweeter_radius, tweeter)]
    neighbour = woofer
    if kind == "three-way":
        middle = tweeter - [0.0, 0.5 * sizes.mid_spacing_m]
        turn = np.radians(design.plate_turn_deg)
        reach = 0.5 * sizes.mid_spacing_m * np.array([np.sin(turn), np.cos(turn)])
        tweeter, neighbour = middle + reach, middle - reach
        placed = [
            ("woofer", woofer_radius, woofer),
            ("mid", mid_radius, neighbour),
            ("tweeter", tweeter_radius, tweeter),
        ]
    reaches = [(part, max(radius, mouth if part == "tweeter" else 0.0), at) for part, radius, at in placed]
    _check_apart(called, reaches, coaxial=kind == "coaxial")
    axis_point = tweeter if sizes.axis == "tweeter" else 0.5 * (tweeter + neighbour)
    drivers = tuple(
        Driver(
            part,
            way,
            radius,
            (0.0, float(place[0] - axis_point[0]), float(place[1] - axis_point[1])),
            mouth_radius_m=mouth if part == "tweeter" else 0.0,
            coverage_deg=design.coverage_deg if part == "tweeter" else 90.0,
        )
        for way, (part, radius, place) in enumerate(placed)
    )
    return Loudspeaker(
        name=called,
        kind=kind,
        drivers=drivers,
        crossovers_hz=sizes.crossovers_hz,
        slope_db_per_octave=design.slope_db_per_octave,
        cabinet_size_m=(sizes.width_m, sizes.height_m, sizes.depth_m),
        axis_on_baffle_m=(float(axis_point[0]), float(axis_point[1])),
        flush=flush,
        mass_kg=sizes.mass_kg,
        notes=(waveguide_note(called, "tweeter"),) if mouth > tweeter_radius else (),
    )


def _completed(called: str, kind: Kind, design: Design) -> _Sizes:
    """Everything that `design` leaves open, scaled with the box."""
    typical = TYPICAL[kind]
    width = design.width_m if design.width_m is not None else typical.width_m
    height = design.height_m if design.height_m is not None else typical.height_m
    depth = design.depth_m if design.depth_m is not None else typical.depth_m
    crossovers = tuple(design.crossovers_hz) if design.crossovers_hz is not None else typical.crossovers_hz
    if len(crossovers) != len(typical.crossovers_hz):
        raise ValueError(
            f"'{called}' has {len(crossovers)} crossover frequencies; a {kind} has {len(typical.crossovers_hz)}"
        )
    axis = design.axis if design.axis is not None else typical.axis
    if axis not in get_args(Axis):
        raise ValueError(f"the axis of '{called}' is '{axis}'; choose 'tweeter' or 'between'")

    taller = height / typical.height_m
    larger = min(taller, width / typical.width_m)

    def or_typical(given: float | None, usual: float, scale: float) -> float:
        return given if given is not None else usual * scale

    volume_ratio = width * height * depth / (typical.width_m * typical.height_m * typical.depth_m)
    return _Sizes(
        width,
        height,
        depth,
        mass_kg=or_typical(design.mass_kg, typical.mass_kg, volume_ratio),
        tweeter_below_top_m=typical.tweeter_below_top_m * taller,
        tweeter_diameter_m=or_typical(design.tweeter_diameter_m, typical.tweeter_diameter_m, 1.0),
        woofer_diameter_m=or_typical(design.woofer_diameter_m, typical.woofer_diameter_m, larger),
        spacing_m=0.0 if kind == "coaxial" else or_typical(design.spacing_m, typical.spacing_m, taller),
        mid_diameter_m=or_typical(design.mid_diameter_m, typical.mid_diameter_m, larger),
        mid_spacing_m=or_typical(design.mid_spacing_m, typical.mid_spacing_m, taller),
        crossovers_hz=crossovers,
        axis=axis,
    )


def _check_apart(name: str, placed: list[tuple[str, float, FloatArray]], *, coaxial: bool) -> None:
    if coaxial:
        return
    for index, (part, radius, place) in enumerate(placed):
        for other, other_radius, other_place in placed[index + 1 :]:
            gap_m = float(np.hypot(*(place - other_place))) - radius - other_radius
            if gap_m < 0.0:
                raise ValueError(
                    f"the {part} and the {other} of '{name}' overlap by {-1000.0 * gap_m:.0f} mm; "
                    "give a larger spacing or smaller drivers"
                )
