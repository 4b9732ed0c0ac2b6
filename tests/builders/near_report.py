"""What `trace` says of the stored scenes of `near_scenes`, `near_monitors` and `near_panels`, beside boundary elements.

python -m tests.builders.near_report                # tables in Markdown, as the documentation has them
python -m tests.builders.near_report "bare desk"    # these scenes alone
python -m tests.builders.near_report --beside-edges  # waves beside edges alone, as docs/explanation/waves.md has it
python -m tests.builders.near_report --high          # mirrors and edges alone, 1.25 to 2.5 kHz (`high_scenes`)
python -m tests.builders.near_report --anew         # solves all references anew, an hour or so
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from sim.blueprint.reader import SceneFile, parse_scene
from sim.pipeline import build, trace_scene
from sim.propagation.mirrors.image_sources import trace_paths
from sim.propagation.surfaces.factors import path_gains
from tests.builders import high_scenes, near_monitors, near_panels, near_scenes
from tests.builders.near_monitors import MonitorReference
from tests.builders.near_panels import PanelReference, PanelScene
from tests.builders.near_scenes import NearScene, Reference, references

QUIET = 10.0 ** (-15.0 / 20.0)
"""Where the reference is below -15 dB re direct, it is not judged."""


@dataclass(frozen=True)
class Errors:
    """Level of `trace` minus the reference in dB, at every frequency of every pair of source and ear, lit or not."""

    lit: np.ndarray
    shadow: np.ndarray


def traced(
    scene: NearScene | PanelScene, frequencies_hz: np.ndarray, *, edges: bool = True, waves_to_hz: float | None = None
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


def monitor_errors(reference: MonitorReference, *, edges: bool = True) -> tuple[Errors, Errors]:
    """The same of monitors: of each driver by itself, and of both together, which are lit where the tweeter is."""
    scene, at = reference.scene, reference.frequencies_hz
    results = trace_scene(parse_scene(scene.text(scene.ears), Path("nowhere")), maps=False, edges=edges)
    response, alone, both = results.responses.response, [], []
    for s, one in enumerate(results.built.loudspeakers):
        away = np.linalg.norm(results.built.ears - one.axis_point, axis=1)[:, None]
        sent = np.maximum(np.abs(one.model.fractions(response.frequencies_hz)), 1e-9)
        each = np.abs(response.by_driver[s]) / sent[:, None] / away
        alone += [[np.interp(at, response.frequencies_hz, ear) for ear in driver] for driver in each]
        both.append([np.interp(at, response.frequencies_hz, np.abs(ear)) for ear in response.total[s] / away])
    found = []
    for got, total, direct, lit in (
        (np.array(alone), reference.total, reference.direct, reference.lit),
        (np.array(both), reference.summed(reference.total), reference.summed(reference.direct), reference.lit[1::2]),
    ):
        off, judged = 20.0 * np.log10(got / np.abs(total)), np.abs(total / direct) > QUIET
        found.append(Errors(off[lit[..., None] & judged], off[~lit[..., None] & judged]))
    return found[0], found[1]


REFLECTED_QUIET = 10.0 ** (-12.0 / 20.0)
"""Where less than this is left of the wall's reflection, that is not judged by itself."""


def panel_errors(reference: PanelReference, *, edges: bool = True, to_hz: float = np.inf) -> tuple[Errors, np.ndarray]:
    """The same of panels up to a frequency, and the error of what the wall and its panel send back, by itself."""
    scene, at = reference.scene, reference.frequencies_hz
    if scene.flush:
        pairs = [scene.ears[first : first + 2] for first in range(0, len(scene.ears), 2)]
        sums = [_flush(parse_scene(scene.text(ears), Path("nowhere")), at) for ears in pairs]
        got = np.concatenate(sums, axis=1) / reference.direct
    else:
        got = traced(scene, at, edges=edges)
    truth = reference.total / reference.direct
    off = 20.0 * np.log10(np.maximum(np.abs(got), 1e-4) / np.abs(truth))
    judged = (np.abs(truth) > QUIET) & (at < to_hz)
    lit = reference.lit[..., None]
    reflected = np.zeros(0)
    if scene.among.planes:
        wall = reference.mirrored / reference.direct
        heard = np.abs(truth - 1.0) > REFLECTED_QUIET * np.abs(wall)
        reflected = 20.0 * np.log10(np.abs((got - 1.0) / (truth - 1.0)))[heard]
    return Errors(off[lit & judged], off[~lit & judged]), reflected


def _flush(read: SceneFile, frequencies_hz: np.ndarray) -> np.ndarray:
    """Mirrored paths and the straight one (source, ear, f), panels pushed back into the plane of their wall."""
    _, built = build(read)
    built = replace(built, panels=tuple(replace(panel, depth_m=0.0) for panel in built.panels))
    paths = trace_paths(built, 1)
    total = np.zeros((len(built.loudspeakers), len(built.ears), len(frequencies_hz)), dtype=complex)
    np.add.at(total, (paths.loudspeaker, paths.listener), path_gains(built, paths, frequencies_hz))
    return total


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


def _cell(off: np.ndarray) -> str:
    return f"{rms(off):.2f} / {np.abs(off).max():.1f}" if len(off) else ""


def monitor_table(found: Sequence[tuple[MonitorReference, tuple[Errors, Errors]]]) -> str:
    """The same of monitors."""
    lines = ["| monitors | each driver, lit | each driver, hidden | two-way | meshes apart |", "|---|---|---|---|---|"]
    for reference, (each, both) in found:
        heard = np.abs(reference.total / reference.direct) > QUIET
        cells = " | ".join(_cell(off) for off in (each.lit, each.shadow, both.lit))
        lines.append(f"| {reference.name} | {cells} | {rms(reference.mesh_db[heard]):.2f} |")
    return "\n".join(lines)


def panel_table(found: Sequence[tuple[PanelReference, tuple[Errors, np.ndarray]]]) -> str:
    """The same of panels."""
    lines = [
        "| panel | total, lit | total, hidden | the wall's reflection alone | meshes apart |",
        "|---|---|---|---|---|",
    ]
    for reference, (off, reflected) in found:
        heard = np.abs(reference.total / reference.direct) > QUIET
        cells = " | ".join(_cell(each) for each in (off.lit, off.shadow, reflected))
        lines.append(f"| {reference.name} | {cells} | {rms(reference.mesh_db[heard]):.2f} |")
    return "\n".join(lines)


def anew() -> None:
    """Solve and store all references, an hour or so."""
    near_scenes.make(list(near_scenes.SCENES))
    near_monitors.make(list(near_monitors.SCENES))
    near_panels.make(list(near_panels.SCENES))
    near_scenes.make_into(high_scenes.SAVED, high_scenes.SCENES, list(high_scenes.SCENES))


if __name__ == "__main__" and sys.argv[1:] == ["--beside-edges"]:
    sys.stdout.write(beside_edges([r for r in references() if r.name in BESIDE_EDGES]) + "\n")
elif __name__ == "__main__" and sys.argv[1:] == ["--high"]:
    sys.stdout.write(table([(r, errors(r, waves_to_hz=0.0)) for r in high_scenes.references()]) + "\n")
elif __name__ == "__main__":
    chosen = sys.argv[1:]
    if chosen[:1] == ["--anew"]:
        anew()
        sys.exit()
    scenes = [r for r in references() if not chosen or r.name in chosen]
    if scenes:
        sys.stdout.write(table([(reference, errors(reference)) for reference in scenes]) + "\n\n")
    monitors = [r for r in near_monitors.references() if not chosen or r.name in chosen]
    if monitors:
        sys.stdout.write(monitor_table([(reference, monitor_errors(reference)) for reference in monitors]) + "\n\n")
    panels = [r for r in near_panels.references() if not chosen or r.name in chosen]
    if panels:
        sys.stdout.write(panel_table([(reference, panel_errors(reference)) for reference in panels]) + "\n")
