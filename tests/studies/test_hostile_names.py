"""Names that mean something to spreadsheets, browsers, CAD programs and typesetters, through every kind of output."""

from __future__ import annotations

import csv
import datetime
import json
import re
from pathlib import Path

import ezdxf
import pypdf
import pytest

from sim.blueprint.reader import parse_scene
from sim.pipeline import trace_scene
from sim.responses.records import Results
from sim.showing.numbers import _FORMULA, _PLAIN
from sim.showing.plan_picture import draw_plan
from sim.showing.tables import write_traced
from sim.studies.report.report import report_page
from sim.studies.saving import write_answer
from sim.studies.sheets.sheet_set import sheets
from sim.studies.trace.screen import show_results
from tests.studies.report.report_cases import DEN, PANELS
from tests.studies.report.test_report import Page

SCRIPT = "</script><img src=x onerror=alert(1)>"
CAD = "%%u%%o^J\\U+0041\\P{\\H9;x}"
SUM = "=1+cmd|' /C x'!A0"
MATHS = r"$\frac{a$ $x^2$ $${}"
RICH = "[bold red]x[/] @page <!-- --> ]]>"
DAY = datetime.date(2026, 11, 25)


@pytest.fixture(scope="module")
def rude() -> Results:
    text = DEN.replace("PANELS", PANELS.replace('"right panel"', f"'{CAD}'")).replace("TITLE", f"{SCRIPT} {CAD}")
    for plain, name in (("LEFT", SUM.replace("'", "`")), ("tall cupboard", SCRIPT), ("guest", RICH), ("window", MATHS)):
        text = text.replace(f'"{plain}"', f"'{name}'", 1)
    text = text.replace('kind = "desk"', f"kind = \"desk\"\nname = '{MATHS}'").replace("order = 2", "order = 1")
    text = text.replace('right"\nmodel', '-2+3"\nmodel').replace("kind = 'window", 'kind = "window')
    text = text.replace(f"kind = '{MATHS}'", 'kind = "window"').replace('name = "window"', f"name = '{MATHS} w'")
    return trace_scene(parse_scene(text, Path("nowhere")))


def test_tables_hold_no_formulas_and_the_names_in_full(rude: Results, tmp_path: Path) -> None:
    write_traced(rude, tmp_path)
    names = set()
    for path in tmp_path.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                assert not _FORMULA.match(cell) or _PLAIN.fullmatch(cell), (path.name, cell)
                names.add(cell)
    assert "'" + SUM.replace("'", "`") in names
    assert "'-2+3" in names


def test_the_report_runs_nothing_of_a_name(rude: Results) -> None:
    text = report_page([rude], date=DAY)
    page = Page(text)
    assert not page.all("img") or all("onerror" not in image for image in page.all("img"))
    assert SCRIPT in page.text
    assert "<img src=x" not in text
    data = json.loads(re.search(r'<script type="application/json" id="report-data">(.*?)</script>', text, re.S)[1])  # type: ignore[index]
    assert SUM.replace("'", "`") in json.dumps(data, ensure_ascii=False)


def test_papers_show_names_as_they_are(rude: Results, tmp_path: Path) -> None:
    write_answer(sheets(rude, date=DAY), tmp_path)
    document = ezdxf.readfile(tmp_path / "drawings.dxf")  # type: ignore[attr-defined]
    assert document.audit().errors == []
    words = [text.dxf.text for text in document.modelspace().query("TEXT")]
    assert any("</script>" in each for each in words)
    assert not [each for each in words if re.search(r"%%|\^[^ ]|\\", each)]
    printed = " ".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "drawings.pdf").pages)
    assert "</script>" in printed
    assert "%%u" in printed
    assert "$" in printed


def test_pictures_take_dollar_signs_for_dollar_signs(rude: Results, tmp_path: Path) -> None:
    draw_plan(rude.built, rude.scene.blueprint, tmp_path / "plan.png")
    assert (tmp_path / "plan.png").stat().st_size > 10_000


def test_the_screen_takes_brackets_for_brackets(rude: Results, capsys: pytest.CaptureFixture[str]) -> None:
    show_results(rude)
    shown = capsys.readouterr().out
    assert SUM.replace("'", "`") in shown
    assert "\x1b" not in shown
