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
    from .acoustics.absorbed import AbsorberTable as AbsorberTable
    from .blueprint.absorbers import absorber as absorber
    from .blueprint.reader import SceneFile as SceneFile
    from .blueprint.reader import read_scene as read_scene
    from .blueprint.schema import Blueprint as Blueprint
    from .blueprint.writing import schema as schema
    from .compiling import compile_kernels as compile_kernels
    from .drawings.sheet_set import Sheets as Sheets
    from .drawings.sheet_set import sheets as sheets
    from .errors import BounceplanError as BounceplanError
    from .errors import MeshError as MeshError
    from .errors import OutputError as OutputError
    from .errors import PictureError as PictureError
    from .errors import SceneError as SceneError
    from .loudspeakers.loudspeaker import Loudspeaker as Loudspeaker
    from .pictures import draw as draw
    from .pipeline import decay as decay
    from .pipeline import trace as trace
    from .placement.checked import Checked as Checked
    from .placement.checked import check as check
    from .placement.models import loudspeaker as loudspeaker
    from .placement.stack_answer import Stacks as Stacks
    from .placement.stack_answer import stand as stand
    from .propagation.plates import plate_total as plate_total
    from .responses.bounce_maps import bounces as bounces
    from .responses.bounce_records import BounceStudy as BounceStudy
    from .responses.decay_records import DecayStudy as DecayStudy
    from .responses.explained import Explanation as Explanation
    from .responses.results import Results as Results
    from .saving import save as save
    from .studies.compare import Comparison as Comparison
    from .studies.compare import compare as compare
    from .studies.one_peak import explain as explain
    from .studies.orientation import OrientationStudy as OrientationStudy
    from .studies.orientation import orient as orient
    from .studies.scene_changes import add as add
    from .studies.scene_changes import change as change
    from .studies.scene_changes import remove as remove
    from .studies.search import Search as Search
    from .studies.search import search as search
    from .studies.sweep_records import Sweep as Sweep
    from .studies.tolerance import Tolerance as Tolerance
    from .studies.tolerance import tolerance as tolerance
    from .sweeps import sweep as sweep
    from .treatment.plan import treat as treat
    from .treatment.records import Plan as Plan
    from .writers.answer_words import words as words
    from .writers.archive import read_results as read_results
    from .writers.new_scene import new as new
    from .writers.report_request import ReportPage as ReportPage
    from .writers.report_request import report as report
    from .writers.sweep_store import read_sweep as read_sweep

__version__ = "0.1.0"

_HOMES: dict[str, str] = {
    "trace": ".pipeline",
    "check": ".studies.check.checked",
    "compare": ".studies.compare.comparison",
    "compile_kernels": ".compiling",
    "explain": ".studies.explain.question",
    "treat": ".studies.treat.plan",
    "sweep": ".studies.sweep.run",
    "search": ".studies.search.search",
    "tolerance": ".studies.tolerance.tolerance",
    "orient": ".studies.orient.study",
    "stand": ".studies.stand.answer",
    "decay": ".pipeline",
    "bounces": ".studies.bounces.maps",
    "absorber": ".studies.absorber.table",
    "loudspeaker": ".placement.models",
    "sheets": ".studies.sheets.sheet_set",
    "report": ".studies.report.report",
    "new": ".studies.check.new_scene",
    "schema": ".blueprint.writing",
    "draw": ".pictures",
    "plate_total": ".propagation.edges.plates",
    "read_scene": ".blueprint.reader",
    "change": ".layouts.changes",
    "add": ".layouts.changes",
    "remove": ".layouts.changes",
    "words": ".studies.answer_words",
    "save": ".studies.saving",
    "read_results": ".showing.archive.results",
    "read_sweep": ".studies.sweep.store",
    "Results": ".responses.records",
    "Checked": ".studies.check.checked",
    "Comparison": ".studies.compare.comparison",
    "Explanation": ".studies.explain.records",
    "Plan": ".responses.plan",
    "Sweep": ".layouts.records",
    "Search": ".studies.search.search",
    "Tolerance": ".studies.tolerance.tolerance",
    "OrientationStudy": ".studies.orient.study",
    "Stacks": ".studies.stand.answer",
    "DecayStudy": ".studies.decay.records",
    "BounceStudy": ".studies.bounces.records",
    "AbsorberTable": ".studies.absorber.table",
    "Loudspeaker": ".loudspeakers.loudspeaker",
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
