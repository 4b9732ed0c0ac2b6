"""bounceplan: early reflections of studio monitors in 3D."""

from __future__ import annotations

import hashlib
import os
import tempfile
from importlib import import_module
from pathlib import Path
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


def _kernel_cache() -> Path:
    """Folder for compiled kernels, named after all kernel sources.

    The compiler's own cache looks only at the file a function stands in; an edited kernel in another file would
    leave its callers stale.  A folder per state of all kernel files cannot be stale.
    """
    here = Path(__file__).parent
    digest = hashlib.sha256()
    for source in sorted([*here.glob("*/*kernels.py"), here / "geometry" / "lanes.py"]):
        digest.update(source.read_bytes())
    home = os.environ.get("XDG_CACHE_HOME") or str(Path("~/.cache").expanduser())
    folder = Path(home) / "bounceplan" / f"kernels-{digest.hexdigest()[:12]}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError:
        folder = Path(tempfile.gettempdir()) / folder.name
    return folder


os.environ.setdefault("NUMBA_CACHE_DIR", str(_kernel_cache()))


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name], __name__), name)
    raise AttributeError(f"module 'sim' has no attribute {name!r}")
