"""What to stand a loudspeaker on, asked in one go: what is wished, what is there, and the best stacks of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from sim.answers import Answer
from sim.blueprint.reader import AnyScene, SceneFile, read_scene
from sim.blueprint.units import POUND_KG, difference_words, length_words, mass_words, text_to_metres
from sim.errors import SceneError
from sim.placement.built_scene import build_scene
from sim.studies.stand.pieces import TIP_WARNING_DEG, Piece, read_piece, sizes_m
from sim.studies.stand.search import best_stacks
from sim.studies.stand.stack import UNKNOWN_BOX_KG_M3, Stack, Wish, loudspeaker_named, wish_of

USUAL_LOWEST_HZ = 45.0
"""A small two-way reaches about this low (common practice, no source)."""
USUAL_DISTANCE_M = 1.2
LARGEST_M = 10.0
SIZES = "write its width x height x depth like 180x290x230 in mm, or 7x11x9in"
Length = str | float
"""Metres, or a text with its unit: 1.2, "1200 mm"."""
Mass = str | float
"""Kilograms, or a text with its unit: 5.5, "12lb"."""


@dataclass(frozen=True, slots=True, repr=False)
class Stacks(Answer):
    """The best stacks for one loudspeaker.

    Attributes
    ----------
    stacks
        Best first; none when nothing can be stacked.
    wish
        The loudspeaker, and where its axis shall be.
    pieces
        What there is.
    lowest_hz
        Lowest note of the loudspeaker.
    assumed
        Sentences on what was not given.
    units
        What lengths are written in: "m", "cm", "mm", "in" or "ft".
    """

    question: ClassVar[str] = "stand"

    stacks: tuple[Stack, ...]
    wish: Wish
    pieces: tuple[Piece, ...]
    lowest_hz: float
    assumed: tuple[str, ...]
    units: str = "mm"

    @property
    def stands(self) -> bool:
        """Whether there is a stack, and the best still stands at 10 degrees."""
        return bool(self.stacks) and self.stacks[0].tips.least_deg >= TIP_WARNING_DEG

    def headline(self) -> str:
        """How near the best stack comes, and how it stands."""
        if not self.stacks:
            return "nothing can be stacked of what is there"
        best = self.stacks[0]
        layers = "; ".join(layer.words for layer in best.layers) or "nothing"
        error = difference_words(best.error_m, self.units)
        stop = "STOP, every stack of these tips: " if best.tips.least_deg < TIP_WARNING_DEG else ""
        return f"{stop}{layers}: axis {error} off, tips at {best.tips.least_deg:.1f} degrees"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each stack, best first: metres, degrees, kilograms."""
        return [
            {
                "stack": "; ".join(layer.words for layer in one.layers),
                "height_m": one.height_m,
                "axis_height_m": one.axis_height_m,
                "error_m": one.error_m,
                "tilt_deg": one.tilt_deg,
                "mass_kg": one.mass_kg,
                "tips_forward_deg": one.tips.forward_deg,
                "tips_rearward_deg": one.tips.rearward_deg,
                "tips_sideways_deg": one.tips.sideways_deg,
            }
            for one in self.stacks
        ]


def stand(
    have: Sequence[str],
    scene: AnyScene | None = None,
    *,
    loudspeaker: str = "",
    axis_height: Length | None = None,
    cabinet: str | None = None,
    axis_in_cabinet: Length | None = None,
    mass: Mass | None = None,
    distance: Length | None = None,
    depth_offset: Length = 0.0,
    stacks: int = 1,
    soft: bool = False,
    lowest_hz: float | None = None,
    best: int = 3,
    units: str | None = None,
) -> Stacks:
    """Find what to stack so that the acoustic axis is at ear height, and whether it stands.

    Parameters
    ----------
    have
        What there is, a text each: "block 390x190x190 12kg x4", "plate 300x300x10 x2".
    scene
        Gives cabinet, mass, ear height, distance and units; without it, `axis_height`, `cabinet` and `axis_in_cabinet`
        are needed.
    loudspeaker
        Which of the scene; left out, the first.
    axis_height, cabinet, axis_in_cabinet, mass, distance, depth_offset
        Height wanted for the axis; "180x290x230", width x height x depth in mm; axis over the underside; mass in kg
        or "12lb";
        axis to ear in plan; middle of the cabinet toward the listener from that of the stack.
    stacks
        Among how many stacks the pieces are shared.
    soft
        Only stacks with a pad or isolator.
    lowest_hz
        Lowest note of the loudspeaker, 45 Hz if left out.
    best
        How many to return.
    units
        What lengths are written in: "m", "cm", "mm", "in" or "ft"; left out, that of the scene, or "mm".

    Raises
    ------
    SceneError
        If something is missing or cannot be.
    """
    for option, number in (("--stacks", stacks), ("--best", best)):
        if number < 1:
            raise SceneError(option, f"it is {number}", "give 1 or more")
    if lowest_hz is not None and not lowest_hz > 0.0:
        raise SceneError("--lowest-hz", f"it is {lowest_hz:g}", "give a frequency above zero")
    mass_kg = None if mass is None else mass_of(mass)
    forward = length("--depth-offset", depth_offset)
    if scene is not None:
        if cabinet or axis_in_cabinet:
            raise SceneError(
                "--cabinet",
                "the cabinet comes from the scene",
                "leave out --cabinet and --axis-in-cabinet, or --scene",
            )
        file = read_scene(scene)
        unit = units or file.blueprint.units
        wish, assumed = _wish_of_scene(file, loudspeaker, mass_kg, forward, unit)
    else:
        unit = units or "mm"
        wish, assumed = _wish_of_sizes(axis_height, cabinet, axis_in_cabinet, mass_kg, forward, unit)
        if distance is None:
            assumed.append(f"The ear is {length_words(USUAL_DISTANCE_M, unit)} away; give --distance.")
    if axis_height is not None:
        wish = replace(wish, axis_height_m=length("--axis-height", axis_height))
    if distance is not None:
        wish = replace(wish, distance_m=length("--distance", distance))
    for option, value in (("--axis-height", wish.axis_height_m), ("--distance", wish.distance_m)):
        if not 0.0 < value <= LARGEST_M:
            raise SceneError(option, f"it is {value:g} m", "give metres, or a length with its unit such as 1200mm")
    pieces = tuple(read_piece(text, stacks) for text in have)
    found = best_stacks(pieces, wish, best=best, soft=soft)
    return Stacks(found, wish, pieces, lowest_hz or USUAL_LOWEST_HZ, tuple(assumed), unit)


def _wish_of_scene(
    scene: SceneFile, loudspeaker: str, mass_kg: float | None, forward_m: float, unit: str
) -> tuple[Wish, list[str]]:
    built = build_scene(scene.blueprint, scene.folder)
    wish = wish_of(built, loudspeaker, mass_kg=mass_kg, forward_m=forward_m)
    name = loudspeaker_named(built, loudspeaker).name
    used = next(one.model for one in scene.blueprint.loudspeakers if one.name == name)
    model = scene.blueprint.models.get(used)
    if mass_kg is None and (model is None or model.mass_kg is None):
        return wish, [_not_weighed(wish.mass_kg, unit)]
    return wish, []


def _wish_of_sizes(
    axis_height: Length | None,
    cabinet: str | None,
    axis_in_cabinet: Length | None,
    mass_kg: float | None,
    forward_m: float,
    unit: str,
) -> tuple[Wish, list[str]]:
    needed = (("--axis-height", axis_height), ("--cabinet", cabinet), ("--axis-in-cabinet", axis_in_cabinet))
    for option, given in needed:
        if given is None:
            raise SceneError(option, "it is missing", "give it, or name a scene with --scene")
    width, height, depth, _ = sizes_m(cabinet or "", "--cabinet", SIZES)
    assumed = []
    mass = mass_kg
    if mass is None:
        mass = width * height * depth * UNKNOWN_BOX_KG_M3
        assumed.append(_not_weighed(mass, unit))
    in_box = length("--axis-in-cabinet", axis_in_cabinet if axis_in_cabinet is not None else 0.0)
    if not 0.0 <= in_box <= height:
        raise SceneError(
            "--axis-in-cabinet",
            f"it is {length_words(in_box, unit)}, outside a cabinet {length_words(height, unit)} high",
            "measure it again",
        )
    return Wish(0.0, USUAL_DISTANCE_M, width, height, depth, mass, in_box, forward_m), assumed


def _not_weighed(mass_kg: float, unit: str) -> str:
    return f"The monitor was not weighed: {mass_words(mass_kg, unit, 1)} for its size; give --mass."


def mass_of(text: Mass) -> float:
    """A mass in kilograms: a plain number is kilograms, "12lb" pounds.

    Raises
    ------
    SceneError
        If it is no mass above zero.
    """
    said = str(text).strip().lower()
    per_unit = POUND_KG if said.endswith("lb") else 1.0
    try:
        mass = float(said.removesuffix("lb").removesuffix("kg")) * per_unit
    except ValueError:
        raise SceneError("--mass", f'"{text}" is no mass', "write kilograms, 5.5, or pounds, 12lb") from None
    if not 0.0 < mass < float("inf"):
        raise SceneError("--mass", f"it is {said}", "weigh the monitor and give more than zero")
    return mass


def length(option: str, text: Length) -> float:
    """A length in metres: a plain number is metres, anything else brings its unit.

    Raises
    ------
    SceneError
        If it is no length.
    """
    try:
        return float(text)
    except ValueError:
        pass
    try:
        return text_to_metres(str(text))
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError(option, found, remedy.rstrip(".")) from None
