"""A furnished room that is nowhere its own mirror image, and the same seen in a mirror between left and right.

Whatever comes out for one must come out for the other with sides swapped: that tells a swapped index or sign in any
table, text or drawing.  Values known with a tape (in the tests) tell a pair of swaps that would undo each other.
"""

from __future__ import annotations

import copy
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

import tomli_w

from sim.blueprint.reader import SceneFile, parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results

WIDTH, DEPTH, HEIGHT = 3.9, 5.1, 2.5
PLAIN = {"absorption": [0.1] * 8, "source": "made up for a test"}


def at(depth: float, across: float, up: float | None) -> dict[str, float]:
    place = {"from_front": depth, "from_left": across}
    return place if up is None else {**place, "up": up}


SCENE: dict[str, Any] = {
    "title": "Lopsided demo room",
    "units": "m",
    "room": {"box": {"depth": DEPTH, "width": WIDTH, "height": HEIGHT}, "materials": {"all": "plain"}},
    "materials": {"plain": PLAIN},
    "listener": {"ear": at(2.1, 1.7, 1.2)},
    "models": {
        # tweeter right of the middle, woofer left of it: the cabinet's axis is off its centre line
        "skewed": {
            "kind": "own drivers",
            "width": 0.34,
            "height": 0.22,
            "depth": 0.26,
            "mass_kg": 7.0,
            "axis_right_of_middle": 0.10,
            "axis_above_bottom": 0.13,
            "drivers": [
                {"name": "woofer", "diameter": 0.11, "above_bottom": 0.09, "right_of_middle": -0.07, "to_hz": 2000.0},
                {
                    "name": "tweeter",
                    "diameter": 0.025,
                    "above_bottom": 0.13,
                    "right_of_middle": 0.10,
                    "from_hz": 2000.0,
                },
            ],
        },
    },
    "loudspeakers": [
        {
            "name": "left",
            "model": "skewed",
            "acoustic_axis": at(0.8, 1.0, 1.15),
            "toe_in_deg": 20.0,
            "tilt_deg": 3.0,
            "roll": 4.0,
        },
        {"name": "right", "model": "skewed", "acoustic_axis": at(0.95, 2.5, 1.25), "tilt_deg": "ear"},
    ],
    "furniture": [
        {
            "kind": "desk",
            "name": "desk",
            "from_front": [1.0, 1.6],
            "from_left": [0.9, 2.3],
            "top": 0.74,
            "turn_deg": 6.0,
            "material": "plain",
        },
        {
            "kind": "rack",
            "name": "rack",
            "from_front": [1.9, 2.4],
            "from_left": [0.5, 0.9],
            "up": [0.0, 1.05],
            "material": "plain",
        },
        {
            "kind": "sofa",
            "name": "couch",
            "from_front": [3.7, 4.8],
            "from_left": [2.9, 3.7],
            "back": "right",
            "material": "plain",
        },
    ],
    "openings": [
        {"name": "window", "kind": "window", "surface": "left wall", "from_front": [1.1, 1.9], "up": [0.9, 2.1]},
        {
            "name": "door",
            "kind": "door",
            "surface": "rear wall",
            "from_left": [2.6, 3.4],
            "up": [0.0, 2.0],
            "swing": 0.8,
            "escape": True,
        },
    ],
    "keep_clear": [
        {"name": "lamp", "kind": "lamp", "from_front": [2.0, 2.2], "from_left": [1.2, 1.4], "up": [2.3, 2.5]},
    ],
    "panels": [
        {
            "name": "side panel",
            "surface": "right wall",
            "from_front": [1.2, 2.0],
            "up": [0.7, 1.9],
            "material": "100 mm wool",
            "fixings": "two rails",
        },
        {
            "name": "cloud",
            "surface": "ceiling",
            "from_front": [1.2, 1.9],
            "from_left": [1.0, 2.2],
            "material": "100 mm wool",
            "gap": 0.1,
            "fixings": "four wires and a second one each",
        },
    ],
    "treatment": {"panels": 3, "symmetric": False},
    "method": {"order": 2, "grid": 0.2, "waves_to_hz": 1000.0},
}
SOFA = {"name": "sofa", "ear": at(4.1, 2.6, 1.0)}
DESK_WIDTH = 2.3 - 0.9
SWAP = {"left": "right", "right": "left"}


def swapped(text: str) -> str:
    """Say left for right and right for left."""
    return re.sub(r"(?<![a-z])(left|right)(?![a-z]| of it, dB)", lambda found: SWAP[found.group(1)], text)


def mirrored(scene: dict[str, Any]) -> dict[str, Any]:
    """The scene behind a mirror that stands along the room's depth."""
    other = _swapped(copy.deepcopy(scene))
    for model in other["models"].values():
        model["axis_right_of_middle"] *= -1.0
        for driver in model["drivers"]:
            driver["right_of_middle"] *= -1.0
    for each in [*other["loudspeakers"], *other["furniture"]]:
        for key in {"turn_deg", "roll"} & set(each):
            each[key] = -each[key]
    return other


def _swapped(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _swapped(each, name) for name, each in value.items()}
    if key == "from_left":
        return [WIDTH - value[1], WIDTH - value[0]] if isinstance(value, list) else WIDTH - value
    if isinstance(value, list):
        return [_swapped(each) for each in value]
    return swapped(value) if isinstance(value, str) and key not in ("model", "kind") else value


def seen_again(text: str) -> str:
    """A text of the mirrored scene as the scene itself must say it: sides swapped, distances from the left turned.

    Which of the two sides of an edge is named first follows the order of the mesh, so they are sorted in both.
    """
    for pattern, whole in (
        (r"(from_left )(\d+\.\d+)( m)", WIDTH),
        (r"()(\d+\.\d+)( m from the left wall)", WIDTH),
        (r"()(\d+\.\d+)( m from its left edge)", DESK_WIDTH),
    ):
        text = re.sub(
            pattern,
            lambda m, whole=whole: f"{m[1]}{whole - float(m[2]):.3f}{m[3].replace('left', 'LEFT')}",  # type: ignore[misc]
            text,
        )
    text = re.sub(r"roll (-?)(\d+)", lambda found: f"roll {'' if found[1] else '-'}{found[2]}", text)
    text = text.replace("from_left", "from_LEFT").replace("roll -0", "roll 0")
    return sorted_edges(swapped(text).replace("LEFT", "left"))


def sorted_edges(text: str) -> str:
    """Name the two sides of every edge in the order of the alphabet."""
    words = r"([a-z]+(?: [a-z]+)*?)"
    return re.sub(
        rf"edge of {words} and ([a-z]+(?: [a-z]+)*)",
        lambda found: f"edge of {min(found.groups())} and {max(found.groups())}",
        text,
    )


@lru_cache(maxsize=4)
def scene_file(mirror: bool, two_seats: bool = False) -> SceneFile:
    scene = copy.deepcopy(SCENE)
    if two_seats:
        scene["listener"]["second_seat"] = SOFA
    return parse_scene(tomli_w.dumps(mirrored(scene) if mirror else scene), Path())


@lru_cache(maxsize=2)
def traced(mirror: bool) -> Results:
    return trace_scene(scene_file(mirror))
