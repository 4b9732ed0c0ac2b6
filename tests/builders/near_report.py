"""What `trace` says of the stored scenes of `near_scenes`, beside boundary elements, scene by scene.

python -m tests.builders.near_report                # a table in Markdown, as the documentation has it
python -m tests.builders.near_report "bare desk"    # these scenes alone
python -m tests.builders.near_report --beside-edges  # waves beside edges alone, as docs/explanation/waves.md has it
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from tests.builders.near_scenes import NearScene, Reference, references

QUIET = 10.0 ** (-15.0 / 20.0)
"""Where the reference is below -15 dB re direct, it is not judged."""


@dataclass(frozen=True)
class Errors:
    """Level of `trace` minus the reference in dB, at every frequency of every pair of source and ear, lit or not."""

    lit: np.ndarray
    shadow: np.ndarray


def traced(
    scene: NearScene, frequencies_hz: np.ndarray, *, edges: bool = True, waves_to_hz: float | None = None
) -> np.ndarray:
    """Total over the free field (source, ear, f) of the response at the ear that `trace` gives, two ears at a time.

    edges: whether they are traced; what lies below 1250 Hz is that of waves alone, and needs none.  waves_to_hz: 0 for
    edges alone.
    """
    found = []
    for first in range(0, len(scene.ears), 2):
        read = parse_scene(scene.text(scene.ears[first : first + 2]), Path("nowhere"))
        response = trace_scene(read, maps=False, edges=edges, waves_to_hz=waves_to_hz).responses.response
        where = response.frequencies_hz
        rows = [
            [np.interp(frequencies_hz, where, r.real) + 1j * np.interp(frequencies_hz, where, r.imag) for r in ears]
            for ears in response.total
        ]
        found.append(np.array(rows))
    return np.concatenate(found, axis=1)


def errors(reference: Reference, *, edges: bool = True, waves_to_hz: float | None = None) -> Errors:
    """Trace one scene and compare."""
    truth = np.abs(reference.total / reference.direct)
    found = traced(reference.scene, reference.frequencies_hz, edges=edges, waves_to_hz=waves_to_hz)
    got = np.maximum(np.abs(found), 1e-4)
    off, judged = 20.0 * np.log10(got / truth), truth > QUIET
    return Errors(off[reference.lit[..., None] & judged], off[~reference.lit[..., None] & judged])


def rms(values: np.ndarray) -> float:
    """Root of the mean square, 0 of nothing."""
    return float(np.sqrt(np.mean(values**2))) if len(values) else 0.0


def table(found: Sequence[tuple[Reference, Errors]]) -> str:
    """A table in Markdown: rms and largest error in dB, lit and in shadow, and how far the meshes lie apart."""
    lines = ["| scene | lit, rms / largest | in shadow, rms / largest | meshes apart |", "|---|---|---|---|"]
    for reference, off in found:
        cells = [f"{rms(e):.2f} / {np.abs(e).max():.1f}" if len(e) else "" for e in (off.lit, off.shadow)]
        heard = np.abs(reference.total / reference.direct) > QUIET
        lines.append(f"| {reference.name} | {cells[0]} | {cells[1]} | {rms(reference.mesh_db[heard]):.2f} |")
    for_all = [np.concatenate([getattr(off, part) for _, off in found]) for part in ("lit", "shadow")]
    cells = [f"{rms(e):.2f} / {np.abs(e).max(initial=0.0):.1f}" for e in for_all]
    return "\n".join([*lines, f"| all {len(found)} | {cells[0]} | {cells[1]} | |"])


BESIDE_EDGES = (
    "bare desk",
    "desk, screen 8 cm above",
    "desk, screen touching",
    "desk, cabinet touching",
    "desk over a floor",
    "desk, screen touching, floor",
    "desk 2 cm from a wall",
    "slot between wall and screen",
    "source under the far edge, floor",
    "bridge with two cabinets",
    "soft desk, felt",
)
"""Scenes of which the documentation of waves says what mirrors and edges alone would be."""


def beside_edges(found: Sequence[Reference]) -> str:
    """A table in Markdown of rms errors in dB, lit and in shadow: mirrors and edges alone, and with waves."""
    lines = ["| scene | mirrors and edges: lit, in shadow | with waves: lit, in shadow |", "|---|---|---|"]
    for reference in found:
        cells = []
        for to_hz in (0.0, None):
            off = errors(reference, waves_to_hz=to_hz)
            cells.append(", ".join(f"{rms(e):.1f}" for e in (off.lit, off.shadow) if len(e)))
        lines.append(f"| {reference.name} | {cells[0]} | {cells[1]} |")
    return "\n".join(lines)


if __name__ == "__main__" and sys.argv[1:] == ["--beside-edges"]:
    sys.stdout.write(beside_edges([r for r in references() if r.name in BESIDE_EDGES]) + "\n")
elif __name__ == "__main__":
    chosen = [r for r in references() if not sys.argv[1:] or r.name in sys.argv[1:]]
    sys.stdout.write(table([(reference, errors(reference)) for reference in chosen]) + "\n")
