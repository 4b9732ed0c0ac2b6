"""The report in a real browser: it draws, turns, hides, answers keys, fits a phone, prints, and asks no server."""

from __future__ import annotations

import base64
import re

import numpy as np
import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from tests.browser.conftest import Tab
from tests.studies.report.report_cases import den

pytestmark = pytest.mark.browser
VIEWER = "const viewer = window.bounceplanViewer;"


@pytest.fixture
def opened(tab: Tab, page) -> Tab:
    tab.size(1280, 900)
    tab.visit(page)
    tab.run("document.getElementById('canvas').scrollIntoView({ block: 'center' })")
    tab.settle()
    return tab


def element(tab: Tab, css: str):
    return tab.driver.find_element(By.CSS_SELECTOR, css)


def differing(one: np.ndarray, other: np.ndarray) -> float:
    """Share of pixels that differ."""
    assert one.shape == other.shape
    return float((one != other).any(axis=2).mean())


def test_it_opens_without_complaint_and_without_a_request(tab: Tab, page) -> None:
    tab.size(1280, 900)
    tab.visit(page)
    assert tab.run("return document.documentElement.dataset.ready") == "picture"
    assert tab.error_messages() == []
    assert {address for address in tab.requests() if not address.startswith(("data:", "blob:"))} == {page.as_uri()}
    assert tab.run("return performance.getEntriesByType('resource').map(entry => entry.name)") == []


def test_the_room_is_drawn_with_all_its_colours(opened: Tab) -> None:
    pixels = opened.canvas()
    assert len(np.unique(pixels.reshape(-1, 3), axis=0)) > 50
    assert 0.2 < (pixels != 255).any(axis=2).mean() < 0.95
    for colour in ((0x00, 0x72, 0xB2), (0xD5, 0x5E, 0x00)):  # both loudspeakers' ways
        assert (np.abs(pixels.astype(int) - colour).max(axis=2) < 6).sum() > 200


def test_it_turns_by_mouse_and_comes_back(opened: Tab) -> None:
    before = opened.canvas()
    canvas = element(opened, "#canvas")
    ActionChains(opened.driver).click_and_hold(canvas).move_by_offset(120, 40).release().perform()
    turned = opened.canvas()
    assert differing(before, turned) > 0.1
    canvas.send_keys(Keys.HOME)
    assert differing(before, opened.canvas()) == 0.0


def test_it_turns_by_touch_and_two_fingers_come_nearer(opened: Tab) -> None:
    before = opened.canvas()
    box = opened.run(
        "const b = document.getElementById('canvas').getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2]"
    )
    opened.tell("Emulation.setTouchEmulationEnabled", enabled=True, maxTouchPoints=2)
    try:

        def fingers(kind: str, *places: tuple[float, float]) -> None:
            points = [{"x": box[0] + x, "y": box[1] + y, "id": n} for n, (x, y) in enumerate(places)]
            opened.tell("Input.dispatchTouchEvent", type=kind, touchPoints=points)

        fingers("touchStart", (0, 0))
        fingers("touchMove", (60, 0))
        fingers("touchMove", (120, 0))
        fingers("touchEnd")
        turned = opened.canvas()
        assert differing(before, turned) > 0.1
        away = opened.run(VIEWER + "return viewer.camera.away")
        fingers("touchStart", (-20, 0), (20, 0))
        fingers("touchMove", (-60, 0), (60, 0))
        fingers("touchEnd")
        assert opened.run(VIEWER + "return viewer.camera.away") < 0.9 * away
    finally:
        opened.tell("Emulation.setTouchEmulationEnabled", enabled=False)


def test_it_turns_by_keys_and_says_what_is_in_the_middle(opened: Tab) -> None:
    before = opened.canvas()
    canvas = element(opened, "#canvas")
    canvas.send_keys(Keys.ARROW_RIGHT * 4)
    turned = opened.canvas()
    assert differing(before, turned) > 0.1
    assert re.search(r"from front .* m, from left .* m, up .* m", element(opened, "#picture-value").text)
    canvas.send_keys("+++")
    assert differing(turned, opened.canvas()) > 0.05
    canvas.send_keys("---", Keys.ARROW_LEFT * 4)
    assert differing(before, opened.canvas()) < 0.02
    outline = opened.run("return getComputedStyle(document.getElementById('canvas')).outlineStyle")
    assert outline == "solid"


def test_left_is_left_seen_from_the_seat(opened: Tab) -> None:
    element(opened, '[data-view="seat"]').click()
    opened.settle()
    places = opened.run(
        "return [...document.querySelectorAll('#names span:not([hidden])')]"
        ".map(e => [e.textContent, e.getBoundingClientRect().x])"
    )
    assert dict(places)["L"] < dict(places)["ear"] < dict(places)["R"]


def test_hiding_a_wall_changes_the_picture_and_showing_it_brings_it_back(opened: Tab) -> None:
    opened.run("document.querySelector('.parts').open = true")
    before = opened.canvas()
    for part in ("room:right wall", "room:floor", "body:desk", "body:left loudspeaker", "panel:right panel"):
        box = element(opened, f'[data-part="{part}"]')
        box.click()
        assert differing(before, opened.canvas()) > 0.0005, part
        box.send_keys(Keys.SPACE)
        assert differing(before, opened.canvas()) == 0.0, part
    for kind in ("auto", "hotspots", "ways", "ear", "box"):
        box = element(opened, f'[data-show-kind="{kind}"]')
        box.click()
        assert differing(before, opened.canvas()) > 0.0001, kind
        box.click()
    assert differing(before, opened.canvas()) == 0.0


def test_every_surface_piece_and_panel_can_be_hidden(opened: Tab) -> None:
    built = den(panels=True).built
    parts = set(opened.run("return [...document.querySelectorAll('[data-part]')].map(box => box.dataset.part)"))
    wanted = {f"room:{facet.name}" for facet in built.room.facets if facet.owner == "room"}
    wanted |= {f"body:{owner}" for owner in built.room.owners[1:]} | {f"panel:{panel.name}" for panel in built.panels}
    assert parts == wanted


def test_hotspots_hold_the_levels_that_were_calculated(opened: Tab) -> None:
    results = den(panels=True)
    nominal = results.responses.bands.nominal_hz.tolist()
    chance = np.random.default_rng(4)
    checked = 0
    for octave, hz in enumerate(opened.run(VIEWER + "return viewer.picture.data.bands")):
        for speaker in range(3):
            opened.run(VIEWER + "viewer.picture.choose(arguments[0], arguments[1])", octave, speaker)
            for surface_map in results.responses.maps:
                levels = surface_map.both_db if speaker == 0 else surface_map.level_db[speaker - 1]
                heard = np.flatnonzero(levels[nominal.index(hz)] > -59.0)
                cell = int(chance.choice(heard)) if len(heard) else 0
                wanted = float(levels[nominal.index(hz), cell])
                read = opened.run(
                    VIEWER + "const level = viewer.picture.levelAt(arguments[0], arguments[1]);"
                    "return Number.isFinite(level) ? level : null",
                    surface_map.facet,
                    surface_map.points[cell].tolist(),
                )
                if wanted < -59.8:
                    assert read is None
                else:
                    assert read == pytest.approx(wanted, abs=0.126)
                    checked += 1
    assert checked > 100


def test_pointing_at_a_mirror_point_names_its_wall(opened: Tab) -> None:
    opened.run("document.querySelector('.parts').open = true")
    element(opened, '[data-part="panel:right panel"]').click()
    arrival = next(
        a for a in den(panels=True).responses.arrivals if a.surfaces == ("right wall",) and a.listener == "ear"
    )
    point = arrival.main.points[0]
    opened.run("document.getElementById('canvas').scrollIntoView({ block: 'center' })")
    x, y = opened.run(VIEWER + "return viewer.where(arguments[0])", point.tolist())
    box = element(opened, "#canvas")
    ActionChains(opened.driver).move_to_element_with_offset(
        box, round(x - box.size["width"] / 2), round(y - box.size["height"] / 2)
    ).perform()
    reported = element(opened, "#picture-value").text
    assert reported.startswith("right wall: ")
    assert "2 kHz: −" in reported
    depth, _, up = (float(n) for n in re.findall(r"(-?[\d.]+) m", reported)[:3])
    assert depth == pytest.approx(point[0], abs=0.03)
    assert up == pytest.approx(point[2], abs=0.03)


def test_pointing_at_a_panel_names_it(opened: Tab) -> None:
    x, y = opened.run(VIEWER + "return viewer.where([1.0, 3.30, 1.21])")
    box = element(opened, "#canvas")
    ActionChains(opened.driver).move_to_element_with_offset(
        box, round(x - box.size["width"] / 2), round(y - box.size["height"] / 2)
    ).perform()
    reported = element(opened, "#picture-value").text
    assert reported.startswith("right panel: from front ")
    assert "from left 3.30 m" in reported


def test_other_octaves_and_loudspeakers_look_different(opened: Tab) -> None:
    before = opened.canvas()
    Select(element(opened, "#band")).select_by_visible_text("4 kHz")
    other = opened.canvas()
    assert differing(before, other) > 0.002
    Select(element(opened, "#speaker")).select_by_visible_text("right alone")
    assert differing(other, opened.canvas()) > 0.002


def test_an_arrival_of_the_table_is_drawn(opened: Tab) -> None:
    Select(element(opened, "#way")).select_by_visible_text("none")
    before = opened.canvas()
    button = element(opened, '.show[data-show="0-1-0-2"]')
    button.send_keys(Keys.ENTER)
    shown = opened.canvas()
    assert differing(before, shown) > 0.0005
    assert button.get_attribute("aria-pressed") == "true"
    chosen = Select(element(opened, "#way")).first_selected_option.text
    arrival = next(a for a in den(panels=True).responses.arrivals if a.loudspeaker == "right" and a.number == 2)
    assert chosen.startswith(f"right 2: {arrival.via}")


def test_curves_tell_values_by_keys_and_by_pointer(opened: Tab) -> None:
    curve = den(panels=True).responses.energy_time
    chart = element(opened, "#energy-A-0")
    chart.send_keys(Keys.HOME)
    reported = element(opened, "#energy-A-0-value").text
    first = int(np.searchsorted(curve.time_ms, -1.0))
    assert reported.startswith("−1.00 ms after direct")
    assert f"{curve.broadband_db[0, 0, first]:.1f} dB".replace("-", "−") in reported
    chart.send_keys(Keys.PAGE_DOWN)
    assert "Peak: " in element(opened, "#energy-A-0-value").text
    response = element(opened, "#response-1")
    ActionChains(opened.driver).move_to_element(response).perform()
    reported = element(opened, "#response-1-value").text
    band = re.search(r"Third-octave at ([\d.]+) (k?Hz): everything (.*?) dB", reported)
    hz = float(band[1]) * (1000.0 if band[2] == "kHz" else 1.0)
    levels = den(panels=True).responses.response.levels
    wanted = levels.whole_db[1, 0, 0, int(np.argmin(np.abs(levels.bands.nominal_hz - hz)))]
    assert float(band[3].replace("−", "-")) == pytest.approx(wanted, abs=0.051)


def test_another_thing_left_out_changes_the_dashed_line(opened: Tab) -> None:
    path = '#response-0 svg.wide path.line[data-series="1"]'
    before = element(opened, path).get_attribute("d")
    select = Select(element(opened, 'select[data-chart="response-0"]'))
    name = next(o.text for o in select.options if o.text != select.first_selected_option.text)
    select.select_by_visible_text(name)
    assert element(opened, path).get_attribute("d") != before
    assert f"without the {name}" in element(opened, "#response").text


def test_layouts_can_be_changed_in_place(tab: Tab, compared) -> None:
    tab.size(1280, 900)
    tab.visit(compared)
    before = tab.canvas()
    Select(element(tab, "#layout")).select_by_visible_text("B: with panels")
    assert differing(before, tab.canvas()) > 0.005
    assert "right panel" in element(tab, "#names").text
    assert tab.error_messages() == []


def test_the_keyboard_reaches_everything_in_order(opened: Tab) -> None:
    opened.run("document.activeElement.blur(); window.scrollTo(0, 0)")
    reached = []
    for _ in range(40):
        opened.driver.switch_to.active_element.send_keys(Keys.TAB)
        reached.append(opened.run("const e = document.activeElement; return e.id || e.className || e.tagName"))
    assert reached[0] == "skip"
    for one, other in zip(("canvas", "speaker", "band", "way"), ("speaker", "band", "way", "show"), strict=True):
        assert reached.index(one) < reached.index(other)


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
@pytest.mark.parametrize("kind", ["page", "compared"])
def test_nothing_reaches_over_the_side(tab: Tab, kind: str, width: int, request) -> None:
    tab.size(width, 740, phone=width < 500)
    tab.visit(request.getfixturevalue(kind))
    tab.run("for (const part of document.querySelectorAll('details')) part.open = true")
    assert tab.run("return document.documentElement.scrollWidth - innerWidth") <= 0
    outside = tab.run(
        "return [...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll, #names, svg') "
        "&& e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"
    )
    assert outside == []


def test_it_prints_on_a_few_pages_with_its_picture_and_what_is_folded_for_all(opened: Tab) -> None:
    paper = base64.b64decode(
        opened.tell("Page.printToPDF", printBackground=True, paperWidth=8.27, paperHeight=11.69)["data"]
    )
    assert paper.startswith(b"%PDF")
    assert 3 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 7  # the den lists two seats
    assert b"/Subtype /Image" in paper
    opened.tell("Emulation.setEmulatedMedia", media="print")
    try:
        opened.run("window.dispatchEvent(new Event('beforeprint'))")
        assert opened.run(
            "return [...document.querySelectorAll('main details:not(.parts, .screen)')].every(part => part.open)"
        )
        assert opened.run("return document.getElementById('snapshot').src").startswith("data:image/png")
        assert not element(opened, "#canvas").is_displayed()
        assert element(opened, "#snapshot").is_displayed()
        assert not element(opened, "#controls").is_displayed()
    finally:
        opened.run("window.dispatchEvent(new Event('afterprint'))")
        opened.tell("Emulation.setEmulatedMedia", media="")
    assert element(opened, "#canvas").is_displayed()


def test_without_scripts_there_are_text_tables_and_a_drawing(tab: Tab, page) -> None:
    tab.size(1280, 900)
    tab.tell("Emulation.setScriptExecutionDisabled", value=True)
    try:
        tab.visit(page, scripts=False)
        assert element(tab, ".sketch").is_displayed()
        assert element(tab, "#no-picture").is_displayed()
        assert not element(tab, "#controls").is_displayed()
        assert element(tab, "table.arrivals").is_displayed()
        assert element(tab, "#energy-A-0 svg.wide").is_displayed()
        assert not element(tab, "#energy-A-0-value").is_displayed()
    finally:
        tab.tell("Emulation.setScriptExecutionDisabled", value=False)


def test_without_webgl_the_drawing_stays_and_the_curves_still_answer(page, tmp_path) -> None:
    plain = Tab(tmp_path / "plain", "--disable-3d-apis")
    try:
        plain.visit(page)
        assert plain.run("return document.documentElement.dataset.ready") == "text"
        assert element(plain, ".sketch").is_displayed()
        assert element(plain, "#no-picture").is_displayed()
        element(plain, "#energy-A-0").send_keys(Keys.END)
        assert "ms after direct" in element(plain, "#energy-A-0-value").text
        assert [one for one in plain.error_messages() if "Uncaught" in one] == []
    finally:
        plain.driver.quit()


def test_a_lost_graphics_card_brings_the_drawing_back(opened: Tab) -> None:
    opened.run(VIEWER + "viewer.picture.gl.getExtension('WEBGL_lose_context').loseContext()")
    opened.wait("return !document.getElementById('no-picture').hidden")
    assert element(opened, ".sketch").is_displayed()
    assert not element(opened, "#canvas").is_displayed()


def test_an_older_browser_shows_the_room_without_hotspots_and_says_so(page, tmp_path) -> None:
    old = Tab(tmp_path / "old")
    try:
        old.tell("Page.addScriptToEvaluateOnNewDocument", source="delete window.DecompressionStream")
        old.visit(page)
        assert old.run("return document.documentElement.dataset.ready") == "picture"
        assert "too old to show hotspots" in element(old, "#picture-value").text
        assert old.error_messages() == []
        pixels = old.canvas()
        assert (np.abs(pixels.astype(int) - (0x00, 0x72, 0xB2)).max(axis=2) < 6).sum() > 200
    finally:
        old.driver.quit()


def test_it_glides_only_where_motion_is_welcome(opened: Tab) -> None:
    behaviour = "return getComputedStyle(document.documentElement).scrollBehavior"
    assert opened.run(behaviour) == "auto"
    opened.tell("Emulation.setEmulatedMedia", features=[{"name": "prefers-reduced-motion", "value": "no-preference"}])
    try:
        assert opened.run(behaviour) == "smooth"
    finally:
        opened.tell("Emulation.setEmulatedMedia", features=[])
