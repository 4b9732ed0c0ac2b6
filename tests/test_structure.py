"""The shape of the code: sizes, mirrored tests, public names, light imports, who may draw and store, front doors."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import sim

HOME = Path(__file__).resolve().parent.parent
MODULES = sorted(p for p in (HOME / "sim").rglob("*.py") if p.name != "__init__.py")
LONGEST = 350
"""Modules are meant to have 100 to 350 lines."""
QUESTIONS = sorted(place for place in (HOME / "sim" / "studies").iterdir() if (place / "__init__.py").is_file())
DRAWS_FOR_ALL = {
    "sim/showing/labels.py",
    "sim/showing/map_panel.py",
    "sim/showing/room_scene.py",
    "sim/showing/style.py",
    "sim/studies/sweep/picture_words.py",  # words, and the figure that they are fitted into
}
"""Besides modules called picture: what pictures of several questions share."""
STORES = {"sim/loudspeakers/sofa_child.py", "sim/studies/decay/tables.py", "sim/studies/sweep/store_file.py"}
"""Besides the archive: measured loudspeakers, and the files of a decay and of a sweep."""
ABOUT_ALL = {"browser", "builders", "closed_form", "faults", "fuzz", "processes", "published", "rooms", "scenes"}
"""Folders of tests that belong to no one folder of `sim`."""


def imported(module: Path) -> set[str]:
    """First parts of the names that a module imports at any place in it; "." for a relative one."""
    found = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[0] for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add("." if node.level else str(node.module).split(".")[0])
    return found


def who_imports(*libraries: str) -> set[str]:
    return {m.relative_to(HOME).as_posix() for m in MODULES if not imported(m).isdisjoint(libraries)}


def test_only_pictures_draw() -> None:
    drawing = who_imports("matplotlib", "mpl_toolkits", "pyvista", "vtk", "vtkmodules")
    assert {name for name in drawing if "picture" not in Path(name).stem} - DRAWS_FOR_ALL == set()
    assert DRAWS_FOR_ALL - drawing == set(), "the list names who draws no more"


def test_only_stores_open_hdf5() -> None:
    storing = who_imports("h5py")
    assert {name for name in storing if not name.startswith("sim/showing/archive/")} == STORES


def test_imports_say_the_whole_name() -> None:
    assert who_imports(".") == set()


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda p: p.name)
def test_every_question_has_a_command_and_front_doors(question: Path) -> None:
    """Its `__init__` says, writes or draws its answer, and holds the command; `draw` has no answer of its own."""
    door = ast.parse((question / "__init__.py").read_text(encoding="utf-8"))
    doors = {node.name for node in door.body if isinstance(node, ast.FunctionDef)}
    commands = {name[: -len("_arguments")] for name in doors if name.endswith("_arguments")}
    assert question.name in commands
    assert {f"{name}_command" for name in commands} <= doors
    if question.name != "draw":
        assert doors & {"lines", "write", "write_page"}
    assert ast.get_docstring(door)


def test_there_are_many_questions() -> None:
    assert len(QUESTIONS) > 10


def test_the_contract_between_questions_names_all() -> None:
    contracts = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    (apart,) = (contract for contract in contracts if contract["type"] == "independence")
    assert apart["modules"] == [f"sim.studies.{question.name}" for question in QUESTIONS]


def test_all_kernels_are_held_to_arrays() -> None:
    contracts = tomllib.loads((HOME / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    (held,) = (contract for contract in contracts if contract["name"] == "Kernels know arrays only")
    kernels = {".".join(m.relative_to(HOME).with_suffix("").parts) for m in MODULES if m.stem.endswith("kernels")}
    assert {*kernels, "sim.rays.lanes"} == set(held["source_modules"])


def test_every_folder_holds_code_that_can_be_imported() -> None:
    for folder in {module.parent for module in MODULES}:
        assert (folder / "__init__.py").is_file(), folder
    for door in (HOME / "sim").rglob("__init__.py"):
        assert any(door.parent == m.parent for m in MODULES) or any(door.parent in m.parents for m in MODULES), door


def test_tests_mirror_the_code() -> None:
    """Each folder of `sim` has one of tests, and each folder of tests has its twin or is about all."""
    code = {m.parent.relative_to(HOME / "sim") for m in MODULES}
    tests = {t.parent.relative_to(HOME / "tests") for t in (HOME / "tests").rglob("test_*.py")}
    assert code - tests == set(), "folders without tests"
    assert {place for place in tests if place.parts[:1] and place.parts[0] not in ABOUT_ALL} - code == set()


FETCHED = re.compile(r"\b(?:pipx?3?|uv) +(?:[a-z]+ +)?(?:install|add)\b[^\n`]*?(?<![\w/.@-])bounceplan(?![\w/.-])")
"""A line that fetches bounceplan by its name, which stands in no registry: whoever takes it there could run code."""


def test_nobody_is_told_to_fetch_what_is_not_ours() -> None:
    assert FETCHED.search("pip install 'bounceplan[notebook]'")
    assert FETCHED.search("pip install --upgrade bounceplan")
    assert not FETCHED.search(".venv/bin/pip install -e /home/me/bounceplan")
    places = [
        *HOME.glob("*.md"),
        *HOME.glob("*.toml"),
        *(f for top in ("sim", "docs", "scenes", ".ci") for f in (HOME / top).rglob("*")),
    ]
    texts = [
        file for file in places if file.is_file() and file.suffix in {".md", ".py", ".toml", ".txt", ".html", ".js", ""}
    ]
    assert len(texts) > 300
    assert [file for file in texts if FETCHED.search(file.read_text(encoding="utf-8", errors="replace"))] == []


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


def test_commands_say_what_they_take_without_waiting() -> None:
    """Help and a mistyped option need none of the heavy libraries."""
    heavy = "{'numpy', 'numba', 'pyvista', 'h5py', 'matplotlib', 'scipy', 'trimesh', 'pydantic'}"
    code = f"import sys, sim.cli; print(sorted({heavy} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_pipeline_opens_neither_pictures_nor_3d() -> None:
    code = "import sys, sim.pipeline; print(sorted({'pyvista', 'matplotlib', 'vtk', 'vtkmodules'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], cwd=HOME, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
