"""What could hurt someone stands first in every output, not only where the scene is checked."""

from __future__ import annotations

import datetime
import io
from dataclasses import replace
from pathlib import Path

import ezdxf
import h5py
import pypdf
import pytest
from rich.console import Console

from sim.responses.records import Results
from sim.showing.archive.results import write_results
from sim.showing.readme import readme_text
from sim.showing.words import CAUTIONS, cautions
from sim.studies.report.words import small_print
from sim.studies.saving import write_answer
from sim.studies.sheets.sheet_set import sheets
from sim.studies.trace.screen import show_results

STOP = "STOP: left is tilted 18 degrees and no strap is noted: it may slide or tip."
DATE = datetime.date(2025, 3, 1)


@pytest.fixture
def risky(traced_attic: Results) -> Results:
    """The room with something that is not settled."""
    return replace(traced_attic, built=replace(traced_attic.built, warnings=(STOP,)))


def test_it_comes_before_the_general_cautions(risky: Results, traced_attic: Results) -> None:
    assert cautions(risky) == (STOP, *CAUTIONS)
    assert cautions(traced_attic) == CAUTIONS


def test_the_readme_and_the_archive_begin_their_cautions_with_it(risky: Results, tmp_path: Path) -> None:
    minded = readme_text(risky).split("Before you lift, drill or hang anything")[1]
    assert " ".join(minded.split()).find(STOP) < " ".join(minded.split()).find("Nothing here replaces")
    assert STOP in " ".join(minded.split())
    write_results(risky, tmp_path / "results.h5")
    with h5py.File(tmp_path / "results.h5") as file:
        assert file.attrs["cautions"].splitlines()[0] == STOP


def test_the_screen_says_it_before_any_number(risky: Results) -> None:
    text = io.StringIO()
    show_results(risky, Console(file=text, width=400, highlight=False))
    assert text.getvalue().strip().startswith(STOP)


def test_the_page_says_it_first(risky: Results) -> None:
    minded = small_print([risky], None).split('id="cautions"')[1]
    assert minded.index("STOP: left is tilted") < minded.index("Nothing here replaces")


def test_the_papers_say_it(risky: Results, tmp_path: Path) -> None:
    write_answer(sheets(risky, date=DATE), tmp_path)
    first = " ".join(pypdf.PdfReader(tmp_path / "drawings.pdf").pages[0].extract_text().split())
    assert STOP in first
    words = [text.dxf.text for text in ezdxf.readfile(tmp_path / "drawings.dxf").modelspace().query("TEXT")]  # type: ignore[attr-defined]
    assert STOP in words
