"""All kinds of files that are broken on purpose, and what share of a long run each gets."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

import sim
from tests.fuzz.loudspeakers import fuzz_impulses, fuzz_polars, fuzz_sofa
from tests.fuzz.meshes import fuzz_meshes
from tests.fuzz.results import fuzz_results
from tests.fuzz.scenes import fuzz_scenes
from tests.fuzz.tally import Tally

KINDS: Final = {"scenes": 0.45, "meshes": 0.25, "sofa": 0.1, "polars": 0.1, "impulses": 0.05, "results": 0.05}
"""Shares of the cases."""
TRACED_SHARE: Final = 0.01
"""Of the scenes that are accepted."""
BEDROOM: Final = Path(__file__).resolve().parents[2] / "scenes" / "bedroom-on-stands"


def fuzz(
    kind: str, folder: Path, first: int, cases: int, said: Callable[[Tally], None] = lambda _: None
) -> list[Tally]:
    """Run the share of a kind in so many cases, from a first number on."""
    count = max(1, round(cases * KINDS[kind]))
    if kind == "scenes":
        return fuzz_scenes(folder, first, count, TRACED_SHARE, said)
    if kind == "results":
        return fuzz_results(folder, first, count, _stored(folder), said)
    plain = {"meshes": fuzz_meshes, "sofa": fuzz_sofa, "polars": fuzz_polars, "impulses": fuzz_impulses}
    return plain[kind](folder, first, count, said)


def _stored(folder: Path) -> bytes:
    """Results of first reflections in a demo room, as a file."""
    home = folder / "stored"
    sim.save(sim.trace(BEDROOM, order=1), home)
    return (home / "results.h5").read_bytes()
