"""Python in the documents runs: every block of every page, in order, and every example script."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from scipy.io import wavfile

import sim
from sim.studies.saving import write_answer
from tests.builders.measured_rooms import random_room
from tests.builders.panelled_rooms import PANELS, measured, scene_text
from tests.notebook_libraries import stand_in_for_missing
from tests.studies.listen.test_listen import phrase
from tests.studies.little_room import little_room

HOME = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"^```python\n(.*?)^```", flags=re.DOTALL | re.MULTILINE)
PAGES = [
    page
    for page in sorted([*HOME.glob("*.md"), *(HOME / "docs").rglob("*.md"), *(HOME / "scenes").rglob("*.md")])
    if BLOCK.search(page.read_text(encoding="utf-8"))
]
EXAMPLES = sorted((HOME / "docs" / "examples").glob("*.py"))


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder like a checkout, in which results may be left."""
    (tmp_path / "scenes").symlink_to(HOME / "scenes")
    (tmp_path / "results").mkdir()
    monkeypatch.chdir(tmp_path)
    stand_in_for_missing(monkeypatch)
    return tmp_path


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(HOME)))
def test_python_in_a_page_runs(page: Path, checkout: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for file, ask in (("results.h5", lambda: sim.trace(little_room(), order=1)), ("decay.h5", _decay)):
        if f'"{file}"' in text:
            write_answer(ask(), checkout)
    if '"phrase.wav"' in text:
        wavfile.write(checkout / "phrase.wav", 48_000, phrase())
    if '"bare-left.wav"' in text:
        (checkout / "myroom").mkdir()
        (checkout / "myroom" / "scene.toml").write_text(scene_text(), encoding="utf-8")
        measured(checkout, "bare", ())
        for file in measured(checkout, "hung", [one.name for one in PANELS], seed=2):
            file.rename(checkout / file.name.removeprefix("hung-"))
    elif '"left.wav"' in text:
        room = random_room(3, checkout)
        (checkout / "myroom").mkdir()
        (checkout / "3.toml").rename(checkout / "myroom" / "scene.toml")
        for file in room.files:
            file.rename(checkout / file.name.removeprefix("3-"))
    space: dict[str, object] = {"__name__": "page"}
    for number, block in enumerate(BLOCK.findall(text), start=1):
        exec(compile(block, f"{page.name}, block {number}", "exec"), space)


def _decay() -> sim.DecayStudy:
    return sim.decay(little_room(), most_rays=2000, percent=50.0, clarity_db=5.0)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.stem)
def test_an_example_runs_and_says_something(example: Path, checkout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = example.read_text(encoding="utf-8")
    assert text.count("# %%") >= 3
    exec(compile(text, example.name, "exec"), {"__name__": "__main__"})
    assert capsys.readouterr().out.count("\n") >= 5


def test_there_is_an_example_for_each_kind_of_user() -> None:
    assert {example.stem for example in EXAMPLES} == {"studio_owner", "treatment_designer", "own_mesh"}


def test_the_pages_on_python_list_what_is_public() -> None:
    page = (HOME / "docs" / "reference" / "api.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\.\. auto(?:function|class):: sim\.(\w+)$", page, flags=re.MULTILINE)
    assert sorted([*listed, "__version__"]) == sorted(sim.__all__)


def test_the_page_on_records_lists_all_that_public_ones_hold() -> None:
    from pydantic import BaseModel

    from tests.records import records_within, returned_types

    page = (HOME / "docs" / "reference" / "records.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\.\. autoclass:: ([\w.]+)$", page, flags=re.MULTILINE))
    held = {
        f"{kind.__module__}.{kind.__name__}"
        for kind in records_within(returned_types())
        if kind.__name__ not in sim.__all__ and not issubclass(kind, BaseModel)
    }
    assert listed == held
