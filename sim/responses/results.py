"""Everything known about one scene: what was asked, what was built, which ways sound takes, what it adds up to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..answers import Answer, Labelled
from ..blueprint.reader import SceneFile
from ..placement.stage import Stage
from ..propagation.bend_table import BendTable
from ..propagation.paths import Candidate, PathTable
from .records import Responses


@dataclass(frozen=True, slots=True, repr=False)
class Results(Answer):
    """One traced scene.

    Attributes
    ----------
    scene
        What was asked.
    stage
        What was built of it.
    paths
        Direct and mirrored paths, a row each.
    candidates
        Every surface that could reflect once, and why it does or does not.
    responses
        What arrives: arrivals, curves, maps, verdicts.
    bends
        Paths round edges, a row each.
    """

    scene: SceneFile
    stage: Stage
    paths: PathTable
    candidates: tuple[Candidate, ...]
    responses: Responses
    bends: BendTable

    def headline(self) -> str:
        """The strongest reflection of each loudspeaker at the first listener, against the target."""
        target, first = self.scene.blueprint.target, self.stage.listener_names[0]
        told = []
        for one in self.stage.loudspeakers:
            mine = [each for each in self.responses.arrivals if (each.loudspeaker, each.listener) == (one.name, first)]
            strongest = min((each for each in mine if each.number > 0), key=lambda each: each.number, default=None)
            if strongest is not None:
                told.append(
                    f"{one.name}: {strongest.way} {strongest.worst_db:.1f} dB, {strongest.main.delay_ms:.1f} ms after"
                    " the direct sound"
                )
        return f"{self.scene.blueprint.title} (target {target.level_db:g} dB): {'; '.join(told) or 'no reflections'}"

    def rows(self) -> list[dict[str, Any]]:
        """One row for each arrival, as in arrivals.csv: levels in dB re the direct sound, octave by octave."""
        octaves = self.responses.bands.nominal_hz
        return [
            {
                "loudspeaker": one.loudspeaker,
                "listener": one.listener,
                "number": one.number,
                "kind": one.kind,
                "path": one.way,
                "delay_ms": one.main.delay_ms,
                "extra_path_m": one.main.extra_path_m,
                "worst_db": one.worst_db,
                "worst_band_hz": one.worst_band_hz,
                "margin_m": one.main.margin_m,
            }
            | {f"level_{octave:g}_hz_db": float(level) for octave, level in zip(octaves, one.level_db, strict=True)}
            for one in self.responses.arrivals
        ]

    def _axes(self) -> Mapping[str, tuple[Any, str]]:
        found = self.responses
        return {
            "loudspeaker": ([one.name for one in self.stage.loudspeakers], ""),
            "listener": (list(self.stage.listener_names), ""),
            "time": (found.energy_time.time_ms, "ms"),
            "octave": (found.bands.nominal_hz, "Hz"),
            "frequency": (found.response.frequencies_hz, "Hz"),
            "third_octave": (found.response.levels.bands.nominal_hz, "Hz"),
        }

    def _arrays(self) -> Mapping[str, Labelled]:
        curve, response = self.responses.energy_time, self.responses.response
        pair = ("loudspeaker", "listener")
        return {
            "energy_time_db": ((*pair, "time"), curve.broadband_db, "dB"),
            "octave_energy_time_db": ((*pair, "octave", "time"), curve.octave_db, "dB"),
            "response": ((*pair, "frequency"), response.total, "re direct sound on axis"),
            "direct": ((*pair, "frequency"), response.direct, "re direct sound on axis"),
            "level_db": ((*pair, "third_octave"), response.levels.whole_db[:, :, 0], "dB"),
        }
