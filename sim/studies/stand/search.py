"""The best stacks that can be made of what is there: every combination is looked at, in a fixed order.

Layers lie as people stack: the largest footprint on the floor, soft layers on top.  A block may lie on any side;
plates, pads and stands lie as they were given.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from sim.errors import SceneError
from sim.showing.numbers import in_unit
from sim.studies.stand.pieces import SOFT, TIP_TO_SPARE_DEG, TIP_WARNING_DEG, Piece
from sim.studies.stand.stack import Layer, Stack, Wish, stack_of

ERROR_CLASS_M: Final = 0.05
"""Heights within half the usual head box are alike; among them what stands well comes first (common practice)."""
ERROR_STEP_M: Final = 0.005
"""Below this nobody sees a difference of height: fewer pieces come first."""
WINDOWS_M: Final = (ERROR_CLASS_M, 4 * ERROR_CLASS_M, 20 * ERROR_CLASS_M)
MOST_SOFT_LAYERS: Final = 2
MOST_STACKS: Final = 50_000
STAND_STEP_M: Final = 0.001


@dataclass(frozen=True, slots=True)
class Option:
    """One way a kind of piece can lie: sizes of a layer of it; `spread` layers stand under the corners of the box."""

    piece: Piece
    number: int
    words: str
    width_m: float
    depth_m: float
    height_m: float
    spread: bool


def best_stacks(pieces: Sequence[Piece], wish: Wish, *, best: int = 5, soft: bool = False) -> tuple[Stack, ...]:
    """Return the best stacks, best first; with `soft` only those with a pad or isolator.

    Order: what still stands at 10 degrees before all that tips, whatever its height; then by error of height in classes
    of 5 cm, what stands with room to spare, error in steps of 5 mm, fewer pieces, larger tip angle.  Exact as long as
    no more than 50,000 stacks have to be looked at: no other would come before those returned.

    Raises
    ------
    SceneError
        If there are too many combinations to look at them all.
    """
    options = ways_to_lie(pieces)
    found: list[Stack] = []
    for window in (*WINDOWS_M, float("inf")):
        try:
            looked = [stack for stack in _all(options, pieces, wish, window) if stack.deflection_m > 0.0 or not soft]
        except SceneError:
            if not found:
                raise
            break
        found = looked
        if sum(stack.tips.least_deg >= TIP_WARNING_DEG for stack in found) >= best:
            break  # what lies outside the window is of a worse class than all inside that stand
    return tuple(sorted(found, key=_rank)[:best])


def ways_to_lie(pieces: Sequence[Piece]) -> tuple[Option, ...]:
    """Every way each piece can lie, longer side front to back; in layers of several they lie side by side."""
    options = []
    for number, piece in enumerate(pieces):
        sides = (piece.width_m, piece.depth_m, piece.height_m)
        heights = sorted(set(sides)) if piece.kind == "block" else [piece.height_m]
        for height in heights:
            rest = list(sides)
            rest.remove(height)
            short, long = sorted(rest) if piece.kind == "block" else rest
            lying = ""
            if piece.kind == "block":
                lying = "flat" if height == min(sides) else "upright" if height == max(sides) else "on edge"
            together = f"{piece.in_layer} x " if piece.in_layer > 1 else ""
            high = _size(height, piece)
            if piece.most_height_m > height and piece.kind == "stand":
                high += f"-{_size(piece.most_height_m, piece)}"
            sizes = f"{_size(short, piece)} x {_size(long, piece)} x {high} {piece.unit}"
            words = f"{together}{piece.kind} {sizes} {lying}".strip()
            wide = short if piece.kind == "isolator" else short * piece.in_layer
            options.append(Option(piece, number, words, wide, long, height, piece.kind == "isolator"))
    order = sorted(range(len(options)), key=lambda i: _from_the_floor(options[i], i))
    return tuple(options[i] for i in order)


def _size(metres: float, piece: Piece) -> str:
    return f"{round(in_unit(metres, piece.unit), 6):g}"


def _from_the_floor(option: Option, place: int) -> tuple[bool, bool, float, float, int]:
    soft = option.piece.kind in SOFT
    return (soft, option.spread, -option.width_m * option.depth_m, -option.height_m, place)


def layers_of(chosen: Sequence[Option], wish: Wish, stand_m: float = float("nan")) -> tuple[Layer, ...]:
    """Layers of options from the floor up, soft ones pressed in by what is above; a stand is set to `stand_m`."""
    masses = [option.piece.mass_kg * option.piece.in_layer for option in chosen]
    layers: list[Layer] = []
    for place, option in enumerate(chosen):
        pressed = option.piece.under_kg(wish.mass_kg + sum(masses[place + 1 :]))
        height = option.height_m
        if option.piece.kind == "stand" and stand_m == stand_m:
            height = stand_m
        width, depth = option.width_m, option.depth_m
        if option.spread:
            width = min(wish.width_m, layers[-1].width_m) if layers else wish.width_m
            depth = min(wish.depth_m, layers[-1].depth_m) if layers else wish.depth_m
        pressed = min(pressed, 0.9 * height)
        layers.append(Layer(option.piece, option.words, width, depth, height - pressed, pressed, masses[place]))
    return tuple(layers)


def set_layers(chosen: Sequence[Option], wish: Wish) -> tuple[Layer, ...]:
    """Layers of options; a stand with a range is set where the axis comes nearest to its height."""
    layers = layers_of(chosen, wish)
    stand = next((option for option in chosen if option.piece.most_height_m > option.piece.height_m), None)
    if stand is not None:
        short = wish.axis_height_m - wish.axis_in_cabinet_m - sum(layer.height_m for layer in layers)
        set_to = min(max(stand.height_m + short, stand.height_m), stand.piece.most_height_m)
        layers = layers_of(chosen, wish, round(set_to / STAND_STEP_M) * STAND_STEP_M)
    return layers


def _all(options: Sequence[Option], pieces: Sequence[Piece], wish: Wish, window_m: float) -> Iterator[Stack]:
    """Every stack whose axis comes within a window of its height; others are cut off as early as can be."""
    wanted = wish.axis_height_m - wish.axis_in_cabinet_m
    give = sum(option.piece.height_m for option in options if option.piece.kind in SOFT)  # no more than all of it
    tallest = [0.0] * (len(options) + 1)
    for place in range(len(options) - 1, -1, -1):
        highest = max(options[place].height_m, options[place].piece.most_height_m)
        tallest[place] = tallest[place + 1] + options[place].piece.layers * highest
    left = [piece.layers for piece in pieces]
    chosen: list[Option] = []
    looked = 0

    def grow(place: int, low: float, high: float) -> Iterator[Stack]:
        nonlocal looked
        if low - give > wanted + window_m or high + tallest[place] < wanted - window_m:
            return
        if place == len(options):
            looked += 1
            if looked > MOST_STACKS:
                raise SceneError(
                    "--have", f"more than {MOST_STACKS} stacks are possible", "name fewer pieces, or fewer of each"
                )
            layers = set_layers(chosen, wish)
            if abs(sum(layer.height_m for layer in layers) - wanted) <= window_m + 1e-12:
                yield stack_of(layers, wish)
            return
        option = options[place]
        most = left[option.number]
        if option.piece.kind in SOFT:
            most = min(most, MOST_SOFT_LAYERS - sum(each.piece.kind in SOFT for each in chosen))
        if option.piece.kind == "stand":
            most = min(most, 1 - sum(each.piece.kind == "stand" for each in chosen))
        for count in range(most + 1):
            chosen.extend([option] * count)
            left[option.number] -= count
            yield from grow(
                place + 1,
                low + count * option.height_m,
                high + count * max(option.height_m, option.piece.most_height_m),
            )
            left[option.number] += count
            del chosen[len(chosen) - count :]

    yield from grow(0, 0.0, 0.0)


def _rank(stack: Stack) -> tuple[int, int, bool, int, int, float, tuple[str, ...]]:
    error, tips = abs(stack.error_m), stack.tips.least_deg
    return (
        (tips < TIP_WARNING_DEG) + (tips <= 0.0),
        max(0, ceil((error - 1e-9) / ERROR_CLASS_M) - 1),
        tips < TIP_TO_SPARE_DEG,
        round(error / ERROR_STEP_M),
        stack.pieces,
        -round(tips, 6),
        tuple(layer.words for layer in stack.layers),
    )
