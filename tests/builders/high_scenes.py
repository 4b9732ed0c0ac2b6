"""Scenes of bodies that stand together, from 1.25 to 2.5 kHz, where mirrors and edges are left to themselves.

    python -m tests.builders.high_scenes              # rewrites tests/builders/data/high_scenes.json (half an hour)
    python -m tests.builders.high_scenes "cabinet"    # these scenes alone

`python -m tests.builders.near_report --high` says what mirrors and edges give beside them.
As `near_scenes`, with the same solver; the pieces are smaller, since elements go with the square of size and frequency.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

from tests.builders.near_scenes import NearScene, Piece, Point, Reference, block, make_into, screen, stored_in

SAVED = Path(__file__).parent / "data" / "high_scenes.json"
SIXTH_OCTAVES_HZ = tuple(round(1000.0 * 10.0 ** (n / 20.0), 2) for n in range(2, 9))
"""1.26 to 2.51 kHz."""
TOP = 0.74


@dataclass(frozen=True)
class HighScene(NearScene):
    """The same at higher frequencies."""

    @property
    def frequencies_hz(self) -> tuple[float, ...]:
        """Sixth-octaves from 1.25 kHz."""
        return SIXTH_OCTAVES_HZ


def _desk() -> Piece:
    return block((3.1, 3.6, TOP - 0.03), (3.6, 4.4, TOP))


def _with_screen(gap: float) -> tuple[Piece, ...]:
    return _desk(), screen((3.28, 4.0, TOP + gap), (0.45, 0.28))


def _with_cabinet(gap: float) -> tuple[Piece, ...]:
    return _desk(), block((3.14, 3.70, TOP + gap), (3.34, 3.86, TOP + gap + 0.26))


def _step() -> tuple[Piece, ...]:
    """Two boxes side by side, one higher; to the solver they are a low one with another on it, the same air."""
    lower, upper = block((3.1, 3.6, 0.4), (3.5, 4.4, 0.62)), block((3.1, 3.6, 0.62), (3.5, 4.0, TOP))
    left, right = block((3.1, 3.6, 0.4), (3.5, 4.0, TOP)), block((3.1, 4.0, 0.4), (3.5, 4.4, 0.62))
    return Piece(lower.box, right.text), Piece(upper.box, left.text)


BEHIND: tuple[Point, ...] = ((3.16, 3.66, 1.00), (3.12, 4.05, 0.92))
BESIDE: tuple[Point, ...] = ((3.16, 3.60, 1.00), (3.06, 3.79, 0.88))
SCENES: dict[str, NearScene] = {
    "shelf alone": HighScene("shelf", (_desk(),), sources=BEHIND),
    "screen touching": HighScene("screen", _with_screen(0.0), sources=BEHIND),
    "screen 5 mm above": HighScene("screen", _with_screen(0.005), sources=BEHIND),
    "screen 8 cm above": HighScene("screen", _with_screen(0.08), sources=BEHIND),
    "cabinet touching": HighScene("cabinet", _with_cabinet(0.0), sources=BESIDE),
    "cabinet on 6 cm": HighScene("cabinet", _with_cabinet(0.06), sources=BESIDE),
    "bridge with two cabinets": HighScene(
        "bridge",
        (
            _desk(),
            block((3.12, 3.68, TOP), (3.30, 4.32, TOP + 0.10)),
            block((3.13, 3.72, TOP + 0.10), (3.29, 3.86, TOP + 0.32)),
            block((3.13, 4.14, TOP + 0.10), (3.29, 4.28, TOP + 0.32)),
        ),
        sources=((3.32, 3.79, 0.98), (3.20, 4.0, 0.98)),
    ),
    "two boxes side by side, a step": HighScene("step", _step(), sources=((3.05, 3.7, 0.90), (3.2, 4.5, 0.70))),
    "screen behind a cabinet": HighScene(
        "hidden",
        (*_with_screen(0.0), block((3.34, 3.95, TOP), (3.50, 4.11, TOP + 0.24))),
        sources=((3.16, 3.70, 1.00), (3.12, 4.05, 0.92)),
    ),
}


def references() -> list[Reference]:
    """All stored scenes in the order of `SCENES`."""
    return stored_in(SAVED, SCENES)


if __name__ == "__main__":
    make_into(SAVED, SCENES, sys.argv[1:] or list(SCENES))
