from __future__ import annotations

import datetime
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

import sim
from sim.errors import OutputError, SceneError
from sim.showing.numbers import hertz
from sim.showing.page import LEVEL_COLOURS, escaped, level_colour, typeset
from sim.showing.scene_data import first_band
from sim.showing.words import CAUTIONS, NOT_JUDGED
from sim.studies.report.report import report_page, write_report
from sim.studies.report.sketch import level_scale, room_sketch
from sim.studies.report.tables import plan_part
from tests.studies.report.report_cases import RUDE_NAME, RUDE_TITLE, den, plan

DAY = datetime.date(2026, 11, 25)
VOID = {"meta", "link", "input", "img", "br"}


class Page(HTMLParser):
    """Reads a page strictly: every tag is closed, in order; keeps tags, texts and what stands in scripts."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.scripts: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        names = [name for name, _ in attributes]
        assert len(names) == len(set(names)), (tag, names)
        self.tags.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.tags.append((tag, dict(attributes)))

    def handle_endtag(self, tag):
        assert self.open and self.open[-1] == tag, (tag, self.open)
        self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] in {"script", "style"}:
            self.scripts.append(data)
        else:
            self.words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self.words))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


@pytest.fixture(scope="module")
def page() -> str:
    return report_page([den()], date=DAY)


@pytest.fixture(scope="module")
def compared() -> str:
    return report_page([den(), den(panels=True)], date=DAY, titles=["bare", "with panels"])


@pytest.fixture(scope="module")
def planned() -> str:
    return report_page([], plan=plan(), date=DAY)


@pytest.mark.parametrize("kind", ["page", "compared", "planned"])
def test_the_page_is_sound_html_with_a_language_a_title_and_names_that_meet(kind: str, request) -> None:
    text = request.getfixturevalue(kind)
    assert text.startswith("<!DOCTYPE html>")
    read = Page(text)
    assert read.all("html") == [{"lang": "en"}]
    assert len(read.all("title")) == len(read.all("h1")) == len(read.all("main")) == 1
    ids = [attributes["id"] for _, attributes in read.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in read.tags:
        for name in ("aria-labelledby", "aria-describedby", "for"):
            assert attributes.get(name) is None or attributes[name] in ids
    for link in read.all("a"):
        assert link["href"].removeprefix("#") in ids
    for table in range(len(read.all("table"))):
        assert len(read.all("caption")) > table  # every table says what it is


def test_controls_have_labels(page: str) -> None:
    for select in re.findall(r"<select[^>]*>", page):
        before = page[: page.index(select)]
        assert before.rindex("<label") > before.rindex("</label>") if "</label>" in before else "<label" in before
    for button in re.findall(r"<button[^>]*>(.*?)</button>", page):
        assert button.strip()


@pytest.mark.parametrize("kind", ["page", "compared", "planned"])
def test_nothing_is_fetched_from_anywhere(kind: str, request) -> None:
    text = request.getfixturevalue(kind)
    assert "http://" not in text
    assert "https://" not in text
    assert "@import" not in text
    assert not re.search(r"url\(", text)
    read = Page(text)
    for _, attributes in read.tags:
        assert "src" not in attributes
        assert not str(attributes.get("href", "#")).startswith(("//", "/", "."))
    assert [a["href"] for a in read.all("link")] == ["data:,"]
    policy = next(a["content"] for a in read.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'")


def test_it_names_what_it_is_about(page: str) -> None:
    results = den()
    words, version = Page(page).text, f"bounceplan {sim.__version__}"
    for reported in (
        "25 November 2026",
        results.scene.digest,
        "seed 1",
        version,
        "Den with a window",
    ):
        assert reported in words
    for facet in results.built.room.facets:
        assert facet.name in page
    for sentence in (*CAUTIONS, *NOT_JUDGED, *results.scene.blueprint.notes):
        assert typeset(sentence) in page
    assert "guest" in words
    assert f"below {results.responses.transition_hz:.0f} Hz" in words


def test_every_listed_arrival_is_in_a_table_and_in_the_data(page: str) -> None:
    data = data_of(page)
    reported = {(a["speaker"], a["seat"], a["number"]) for a in data["layouts"][0]["arrivals"]}
    keys = {tuple(int(n) for n in key.split("-"))[1:] for key in re.findall(r'data-show="([\d-]+)"', page)}
    assert keys == reported
    assert {1, 2, 3} <= {number for speaker, seat, number in reported if (speaker, seat) == (0, 0)}
    arrival = next(a for a in den().responses.arrivals if a.loudspeaker == "left" and a.number == 1)
    assert f"{arrival.worst_db:.1f}".replace("-", "−") in page
    assert escaped(arrival.via) in page


def data_of(text: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="report-data">(.*?)</script>', text, re.S)[1])


def test_rude_names_stay_text() -> None:
    text = report_page([den(title=RUDE_TITLE, name=RUDE_NAME)], date=DAY)
    read = Page(text)
    assert len(read.all("script")) == 2
    assert len(read.all("b")) == len(Page(report_page([den()], date=DAY)).all("b"))
    assert RUDE_TITLE in read.text
    assert RUDE_NAME in read.text
    assert "<script>alert" not in text
    assert "<b>&" not in text
    layout = data_of(text)["layouts"][0]
    assert layout["title"] == RUDE_TITLE
    assert layout["speakers"][0]["name"] == RUDE_NAME


def test_names_cannot_act_as_places_to_fill() -> None:
    text = report_page([den(title="Den %%@script@%% den")], date=DAY)
    assert "Den %%@script@%% den" in Page(text).text


def test_layouts_stand_side_by_side(compared: str) -> None:
    words = Page(compared).text
    assert "2 layouts compared" in words
    assert "B against A: with panels" in words
    data = data_of(compared)
    assert [layout["letter"] for layout in data["layouts"]] == ["A", "B"]
    assert [panel["name"] for panel in data["layouts"][1]["panels"]] == ["right panel", "left panel"]
    energy = [chart for chart in data["charts"] if chart["kind"] == "time"]
    assert len(energy) == 4
    assert len({(*chart["across"], *chart["upward"]) for chart in energy}) == 1  # one pair of axes for all
    response = [chart for chart in data["charts"] if chart["kind"] == "frequency"]
    assert [[one["name"] for one in chart["series"]] for chart in response] == [["A: bare", "B: with panels"]] * 2


def test_the_loudest_peaks_are_named_over_the_curve(page: str) -> None:
    figure = page[page.index('id="energy-A-0"') : page.index('id="energy-A-0-value"')]
    wide = figure[: figure.index('<svg class="narrow"')]
    named = re.findall(r'class="flag"[^>]*>([^<]*)<', wide)
    peaks = sorted(den().responses.energy_time.peaks[0][0], key=lambda peak: -peak.level_db)
    assert "direct" in named
    for peak in [peak for peak in peaks if peak.arrivals and peak.time_ms > 0.1][:3]:
        assert any(words.startswith(f"{peak.arrivals[0]} {escaped(peak.label)[:10]}") for words in named), named


def test_a_plan_tells_before_after_and_parked(planned: str) -> None:
    words = Page(planned).text
    reported = plan()
    for sentence in (
        *reported.reached,
        *reported.not_reached,
        *reported.advice,
        *reported.cautions,
        *reported.decay.warnings,
        reported.stopped,
    ):
        assert typeset(sentence) in planned
    for name in ("A: as it is", "B: with the panels", "C: movable panels away", "right panel", "framed 100"):
        assert name in words
    assert "right at 4.9 ms: −7 to −18 dB" in words
    assert "from front 0.700 m to 1.300 m" in words
    assert "gap behind it 0.050 m" in words
    assert "4.2 dB" in words
    assert "same step" in words
    assert "on a stand, movable" in words
    assert len(data_of(planned)["layouts"]) == 3


def test_panels_have_a_price_where_one_is_known() -> None:
    """Two panels, one at 95 in the scene's currency; the sum counts what is known."""
    known = plan()
    assert "Price" not in Page(plan_part(known)).text
    first = replace(known.panels[0], panel=known.panels[0].panel.model_copy(update={"price": 95.0}))
    words = Page(plan_part(replace(known, panels=(first, known.panels[1])))).text
    assert "Price" in words and "95 in all" in " ".join(words.split())


def test_cells_of_panels_carry_the_heading_that_a_phone_writes_before_them(planned: str) -> None:
    labels = {one.get("data-label") for one in (*Page(planned).all("td"), *Page(planned).all("th"))}
    assert {"Panel", "Edges", "6 dB or more from", "Along the surface"} <= labels


def test_hashes_and_versions_stand_at_the_foot_only(page: str) -> None:
    head, foot = page.split("<main>")[0], page.split("<footer>")[1]
    assert den().scene.digest in foot and den().scene.digest not in head.split("<body>")[1]


def test_the_still_drawing_has_the_hotspots_of_its_caption_and_their_scale(page: str) -> None:
    """The loudest cell of the desk's map lies in an area of the colour of its class."""
    results = den()
    sketch = room_sketch(results)
    band = first_band(results)
    assert f"{hertz(float(results.responses.bands.nominal_hz[band]))} at first" in page
    (desk,) = [one for one in results.responses.maps if one.surface == "desk top"]
    loudest = level_colour(float(desk.both_db[band].max()))
    assert loudest and f'fill="{loudest}" fill-rule' in sketch
    quiet = replace(results, responses=replace(results.responses, maps=()))
    assert "fill-rule" not in room_sketch(quiet)
    assert all(colour in level_scale() for colour in LEVEL_COLOURS) and level_scale() in page


def test_what_is_for_the_screen_only_stays_off_the_paper(page: str) -> None:
    """Long lists fold and do not print: a client's paper has what is worst."""
    folded_away = re.findall(r'<details class="screen"><summary>(.*?)</summary>', page)
    assert any("peaks as a table" in one for one in folded_away) and any("left out" in one for one in folded_away)
    assert not any("guest" in one for one in folded_away)
    paper = page.split("@media print {")[1]
    assert re.search(r"\.screen[^{]*\{ display: none !important; \}", paper)


def test_unequal_layouts_are_refused(page: str) -> None:
    from sim.blueprint.reader import parse_scene
    from sim.pipeline import trace_scene
    from tests.studies.report.report_cases import DEN

    lone = re.sub(r"\[\[loudspeakers\]\]\nname = \"right\".*?\n(?=\[\[furniture)", "", DEN, flags=re.S)
    other = trace_scene(parse_scene(lone.replace("PANELS", "").replace("LEFT", "left"), Path("lone")))
    with pytest.raises(SceneError, match="it has 1 and the first layout 2"):
        report_page([den(), other], date=DAY)
    assert "left monitor" in report_page([other], date=DAY)


def test_the_same_results_give_the_same_bytes_and_stay_small(page: str, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text("older", encoding="utf-8")
    write_report([den()], path, date=DAY)
    assert path.read_text(encoding="utf-8") == page
    assert path.stat().st_size < 1_500_000
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_a_folder_that_cannot_be_written_is_told_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_report([den()], tmp_path / "no" / "report.html", date=DAY)


def test_feet_and_inches_are_kept() -> None:
    from sim.blueprint.reader import parse_scene
    from sim.pipeline import trace_scene
    from tests.studies.traced_attic import ATTIC

    words = Page(report_page([trace_scene(parse_scene(ATTIC, Path("demo")))], date=DAY)).text
    assert re.search(r"\d+ \d+/\d+ in", words)
