"""bounceplan: early reflections of studio monitors in 3D."""

from __future__ import annotations

from importlib import import_module
from typing import Any

__version__ = "0.1.0"

_HOMES: dict[str, str] = {
    "BounceplanError": ".errors",
    "Comparison": ".studies.compare",
    "DecayStudy": ".responses.decay_records",
    "Results": ".responses.results",
    "SceneFile": ".blueprint.reader",
    "SetupSheet": ".placement.sheet",
    "Stage": ".placement.stage",
    "check": ".pipeline",
    "compare": ".studies.compare",
    "compile_kernels": ".compiling",
    "decay": ".pipeline",
    "explain": ".responses.explanation",
    "Sweep": ".studies.sweep_records",
    "plate_total": ".propagation.plates",
    "read_results": ".writers.archive",
    "read_sweep": ".writers.sweep_store",
    "read_scene": ".blueprint.reader",
    "save": ".pipeline",
    "setup_sheet": ".placement.sheet",
    "sweep": ".sweeps",
    "trace": ".pipeline",
}
__all__ = ["__version__", *_HOMES]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name], __name__), name)
    raise AttributeError(f"module 'sim' has no attribute {name!r}")
