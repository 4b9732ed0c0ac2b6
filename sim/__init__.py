"""bounceplan: early reflections of studio monitors in 3D.

Every question is a function named like its command.  It takes a scene (a path, the text of a scene file, the same as
nested dictionaries, a `Blueprint`, or what `read_scene` and `change` returned) and returns a frozen record; `words` of
it is what the command prints, `save` writes its files, `.table()` and `.xarray()` hand its numbers on.

What is in `__all__` is public, with the fields and methods of these types; everything else may change at any time.
Names are loaded when they are first used, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.blueprint.reader import SceneFile as SceneFile
    from sim.blueprint.reader import play as play
    from sim.blueprint.reader import read_scene as read_scene
    from sim.blueprint.schema import Blueprint as Blueprint
    from sim.blueprint.writing import schema as schema
    from sim.compiling import compile_kernels as compile_kernels
    from sim.errors import BounceplanError as BounceplanError
    from sim.errors import MeshError as MeshError
    from sim.errors import OutputError as OutputError
    from sim.errors import PictureError as PictureError
    from sim.errors import SceneError as SceneError
    from sim.layouts.changes import add as add
    from sim.layouts.changes import change as change
    from sim.layouts.changes import remove as remove
    from sim.layouts.records import Sweep as Sweep
    from sim.loudspeakers.loudspeaker import Loudspeaker as Loudspeaker
    from sim.measuring.from_recording import MeasuredResponse as MeasuredResponse
    from sim.pipeline import trace as trace
    from sim.placement.models import loudspeaker as loudspeaker
    from sim.propagation.edges.plates import plate_total as plate_total
    from sim.responses.plan import Plan as Plan
    from sim.responses.records import Results as Results
    from sim.showing.archive.results import read_results as read_results
    from sim.studies.absorber.table import AbsorberTable as AbsorberTable
    from sim.studies.absorber.table import absorber as absorber
    from sim.studies.advise.advice import advise as advise
    from sim.studies.advise.records import Advice as Advice
    from sim.studies.bounces.maps import bounces as bounces
    from sim.studies.bounces.records import BounceStudy as BounceStudy
    from sim.studies.check.new_scene import new as new
    from sim.studies.check.text import Checked as Checked
    from sim.studies.check.text import check as check
    from sim.studies.compare.comparison import Comparison as Comparison
    from sim.studies.compare.comparison import compare as compare
    from sim.studies.decay.records import DecayStudy as DecayStudy
    from sim.studies.decay.study import decay as decay
    from sim.studies.draw.drawn import draw as draw
    from sim.studies.explain.measured import Candidates as Candidates
    from sim.studies.explain.measured import candidates as candidates
    from sim.studies.explain.question import explain as explain
    from sim.studies.explain.records import Explanation as Explanation
    from sim.studies.floorplan.reading import Floorplan as Floorplan
    from sim.studies.floorplan.reading import floorplan as floorplan
    from sim.studies.impulse.question import impulse as impulse
    from sim.studies.listen.listening import listen as listen
    from sim.studies.listen.records import Listening as Listening
    from sim.studies.match.match import match as match
    from sim.studies.match.records import Match as Match
    from sim.studies.orient.study import OrientationStudy as OrientationStudy
    from sim.studies.orient.study import orient as orient
    from sim.studies.proof.proof import proof as proof
    from sim.studies.proof.records import Proof as Proof
    from sim.studies.record.question import Recorded as Recorded
    from sim.studies.record.question import record as record
    from sim.studies.report.report import ReportPage as ReportPage
    from sim.studies.report.report import report as report
    from sim.studies.saving import save as save
    from sim.studies.saving import words as words
    from sim.studies.search.search import Search as Search
    from sim.studies.search.search import search as search
    from sim.studies.sheets.sheet_set import Sheets as Sheets
    from sim.studies.sheets.sheet_set import sheets as sheets
    from sim.studies.signal.sweep_signal import SweepSignal as SweepSignal
    from sim.studies.signal.sweep_signal import signal as signal
    from sim.studies.stand.answer import Stacks as Stacks
    from sim.studies.stand.answer import stand as stand
    from sim.studies.sweep.run import sweep as sweep
    from sim.studies.sweep.store import read_sweep as read_sweep
    from sim.studies.tolerance.tolerance import Tolerance as Tolerance
    from sim.studies.tolerance.tolerance import tolerance as tolerance
    from sim.studies.treat.plan import treat as treat
    from sim.surveying.scan.records import ScannedRoom as ScannedRoom
    from sim.surveying.scan.survey import scan as scan

__version__ = "0.3.0"

_HOMES: dict[str, str] = {
    "trace": ".pipeline",
    "advise": ".studies.advise.advice",
    "check": ".studies.check.text",
    "compare": ".studies.compare.comparison",
    "compile_kernels": ".compiling",
    "explain": ".studies.explain.question",
    "candidates": ".studies.explain.measured",
    "treat": ".studies.treat.plan",
    "sweep": ".studies.sweep.run",
    "search": ".studies.search.search",
    "tolerance": ".studies.tolerance.tolerance",
    "orient": ".studies.orient.study",
    "stand": ".studies.stand.answer",
    "decay": ".studies.decay.study",
    "bounces": ".studies.bounces.maps",
    "absorber": ".studies.absorber.table",
    "loudspeaker": ".placement.models",
    "signal": ".studies.signal.sweep_signal",
    "record": ".studies.record.question",
    "impulse": ".studies.impulse.question",
    "match": ".studies.match.match",
    "proof": ".studies.proof.proof",
    "listen": ".studies.listen.listening",
    "sheets": ".studies.sheets.sheet_set",
    "report": ".studies.report.report",
    "new": ".studies.check.new_scene",
    "scan": ".surveying.scan.survey",
    "floorplan": ".studies.floorplan.reading",
    "schema": ".blueprint.writing",
    "draw": ".studies.draw.drawn",
    "plate_total": ".propagation.edges.plates",
    "read_scene": ".blueprint.reader",
    "play": ".blueprint.reader",
    "change": ".layouts.changes",
    "add": ".layouts.changes",
    "remove": ".layouts.changes",
    "words": ".studies.saving",
    "save": ".studies.saving",
    "read_results": ".showing.archive.results",
    "read_sweep": ".studies.sweep.store",
    "Advice": ".studies.advise.records",
    "Results": ".responses.records",
    "Checked": ".studies.check.text",
    "Comparison": ".studies.compare.comparison",
    "Explanation": ".studies.explain.records",
    "Candidates": ".studies.explain.measured",
    "Plan": ".responses.plan",
    "Sweep": ".layouts.records",
    "Search": ".studies.search.search",
    "Tolerance": ".studies.tolerance.tolerance",
    "OrientationStudy": ".studies.orient.study",
    "Stacks": ".studies.stand.answer",
    "ScannedRoom": ".surveying.scan.records",
    "DecayStudy": ".studies.decay.records",
    "BounceStudy": ".studies.bounces.records",
    "AbsorberTable": ".studies.absorber.table",
    "Loudspeaker": ".loudspeakers.loudspeaker",
    "SweepSignal": ".studies.signal.sweep_signal",
    "Recorded": ".studies.record.question",
    "MeasuredResponse": ".measuring.from_recording",
    "Match": ".studies.match.records",
    "Proof": ".studies.proof.records",
    "Listening": ".studies.listen.records",
    "Floorplan": ".studies.floorplan.reading",
    "Sheets": ".studies.sheets.sheet_set",
    "ReportPage": ".studies.report.report",
    "SceneFile": ".blueprint.reader",
    "Blueprint": ".blueprint.schema",
    "BounceplanError": ".errors",
    "SceneError": ".errors",
    "MeshError": ".errors",
    "OutputError": ".errors",
    "PictureError": ".errors",
}
"""Where each public name lives; the imports above say the same to type checkers."""
__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name], __name__), name)
    raise AttributeError(f"module 'sim' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
