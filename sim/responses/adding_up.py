"""What a traced scene comes to: mirrors, edges and waves added up; more than once where it is asked for on the way."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sim.acoustics.bands import octave_bands
from sim.arrays import ComplexArray
from sim.blueprint.reader import SceneFile
from sim.placement.built_scene import BuiltScene
from sim.progress import Report, say_nothing
from sim.propagation.edges.table import EdgePathTable
from sim.propagation.paths import Candidate, PathTable
from sim.propagation.surfaces.factors import path_gains
from sim.propagation.waves.table import WavePaths
from sim.responses.arrivals import judge, list_arrivals
from sim.responses.ear_records import EarWindow
from sim.responses.energy_time import energy_time_curve
from sim.responses.frequency import ear_and_traced, response_frequencies
from sim.responses.notches import list_notches
from sim.responses.path_kinds import DiffractedPaths
from sim.responses.records import Responses, Results
from sim.responses.surface_map import surface_maps
from sim.responses.transition import judged_from_hz
from sim.responses.window import with_room


@dataclass(frozen=True, slots=True)
class ByMirrors:
    """A scene traced as far as mirrors go.

    Attributes
    ----------
    scene, built, paths, candidates
        As in `Results`.
    early, window
        Paths of the whole window, and the window, as `fill_window` gives them.
    gains
        `path_gains` of the early paths at `response_frequencies`, where these are wanted more than once.
    """

    scene: SceneFile
    built: BuiltScene
    paths: PathTable
    candidates: tuple[Candidate, ...]
    early: PathTable
    window: EarWindow
    gains: ComplexArray | None = None

    def with_gains(self) -> ByMirrors:
        """The same with the gains of the early paths."""
        return replace(self, gains=path_gains(self.built, self.early, response_frequencies()))

    def results(
        self,
        edge_paths: EdgePathTable,
        waves: WavePaths | None = None,
        report: Report = say_nothing,
        *,
        whole: bool = False,
        maps: bool = False,
    ) -> Results:
        """Add up what arrives; unless `whole`, what comes after the window and notches of reflections are left out."""
        blueprint, built, paths = self.scene.blueprint, self.built, self.paths
        report("adding up what arrives")
        bands = octave_bands()
        diffracted = DiffractedPaths(built, edge_paths)
        arrivals = list_arrivals(built, paths, bands, blueprint.target, diffracted, notches=whole)
        response, traced = ear_and_traced(built, self.early, edge_paths, self.window, waves, self.gains)
        curve = energy_time_curve(built, replace(response, total=traced), bands, arrivals)
        if whole:
            window = with_room(built, self.window, response.levels, blueprint.method.seed)
            response = replace(response, window=window)
        report("mapping hotspots")
        mapped = surface_maps(built, bands, blueprint.method.grid, blueprint.method.placement_error) if maps else ()
        lowest_hz = judged_from_hz(blueprint, built)
        verdicts = judge(arrivals, blueprint.target)
        notches = list_notches(built, response, lowest_hz) if whole else ()
        responses = Responses(bands, arrivals, response, curve, mapped, verdicts, lowest_hz, notches)
        return Results(self.scene, built, paths, self.candidates, responses, edge_paths)
