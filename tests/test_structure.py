"""The shape of the code: sizes, mirrored tests, public names, light imports, no drawers for odds and ends."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import sim

HOME = Path(__file__).resolve().parent.parent
MODULES = sorted(p for p in (HOME / "sim").rglob("*.py") if p.name != "__init__.py")
LONGEST = 350
"""A module holds one idea in 100 to 350 lines."""


@pytest.mark.parametrize("module", MODULES, ids=lambda p: str(p.relative_to(HOME)))
def test_modules_stay_short_and_named(module: Path) -> None:
    assert len(module.read_text(encoding="utf-8").splitlines()) <= LONGEST
    assert module.stem not in {"utils", "helpers", "common", "base", "misc"}


def test_the_pipeline_fits_on_one_page_and_does_no_arithmetic() -> None:
    text = (HOME / "sim" / "pipeline.py").read_text(encoding="utf-8")
    assert len(text.splitlines()) < 170
    assert "numpy" not in text


def test_public_names_are_there_and_nothing_else_is() -> None:
    for name in sim.__all__:
        assert getattr(sim, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'numpy'"):
        _ = sim.numpy


def test_import_is_light() -> None:
    """Importing the package loads none of the heavy libraries."""
    heavy = "{'numpy', 'numba', 'pyvista', 'h5py', 'matplotlib', 'scipy', 'trimesh', 'pydantic'}"
    code = f"import sys, sim; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_pipeline_opens_neither_pictures_nor_3d() -> None:
    code = "import sys, sim.pipeline; print(sorted({'pyvista', 'matplotlib', 'vtk', 'vtkmodules'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
