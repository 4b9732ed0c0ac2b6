"""What `trace` says of the stored scenes of `near_scenes`, beside boundary elements, scene by scene.

python -m tests.builders.near_report                # a table in Markdown, as the documentation has it
python -m tests.builders.near_report "bare desk"    # these scenes alone
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


def traced(scene: NearScene, frequencies_hz: np.ndarray, *, edges: bool = True) -> np.ndarray:
    """Total over the free field (source, ear, f) of the response at the ear that `trace` gives, two ears at a time.

    edges: whether they are traced; what lies below 1250 Hz is that of waves alone, and needs none.
    """
    found = []
    for first in range(0, len(scene.ears), 2):
        read = parse_scene(scene.text(scene.ears[first : first + 2]), Path("nowhere"))
        response = trace_scene(read, maps=False, edges=edges).responses.response
        where = response.frequencies_hz
        rows = [
            [np.interp(frequencies_hz, where, r.real) + 1j * np.interp(frequencies_hz, where, r.imag) for r in ears]
            for ears in response.total
        ]
        found.append(np.array(rows))
    return np.concatenate(found, axis=1)


def errors(reference: Reference, *, edges: bool = True) -> Errors:
    """Trace one scene and compare."""
    truth = np.abs(reference.total / reference.direct)
    got = np.maximum(np.abs(traced(reference.scene, reference.frequencies_hz, edges=edges)), 1e-4)
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


if __name__ == "__main__":
    chosen = [r for r in references() if not sys.argv[1:] or r.name in sys.argv[1:]]
    sys.stdout.write(table([(reference, errors(reference)) for reference in chosen]) + "\n")
