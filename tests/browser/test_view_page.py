"""The live page in a real browser: it opens, follows a hand, goes back, keys move things, and a new server is found."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from websockets.sync.server import ServerConnection, serve

from sim.machine.processes import own_command
from tests.browser.conftest import Tab
from tests.studies.view.view_cases import ROOM, room_file

pytestmark = pytest.mark.browser
FRAME = "window.bounceplanView.frame"


class Served:
    """The command, serving a room."""

    def __init__(self, scene: Path, port: int = 0) -> None:
        self.scene = scene
        command = own_command("view", str(scene), "--no-browser", "--port", str(port))
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:(\d+)/#(\S+)", line):
                self.address, self.port, self.token = found[0], int(found[1]), found[2]
                return
        assert self.process.stderr is not None
        raise AssertionError(self.process.stderr.read())

    def end(self, number: int = signal.SIGTERM) -> int:
        self.process.send_signal(number)
        self.process.communicate(timeout=120.0)  # a busy machine ends slowly what stands back
        return self.process.returncode


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    one = Served(room_file(tmp_path_factory.mktemp("view")))
    yield one
    if one.process.poll() is None:
        assert one.end() == 128 + signal.SIGTERM


@pytest.fixture
def live(tab: Tab, served: Served) -> Iterator[Tab]:
    tab.size(1280, 800)
    tab.driver.get("about:blank")
    tab.driver.get_log("browser")
    tab.driver.get_log("performance")
    tab.driver.get(served.address)
    tab.wait("return document.documentElement.dataset.ready")
    yield tab
    for _ in range(20):
        if served.process.poll() is not None or not tab.run(f"return {FRAME}.undo"):
            break
        before = tab.run(f"return {FRAME}.number")
        tab.run("document.getElementById('undo').click()")
        tab.wait(f"return {FRAME}.number > {before}")
    tab.driver.get("about:blank")


def hold(tab: Tab, plane: str, name: str):
    return tab.driver.find_element(By.CSS_SELECTOR, f'#{plane} [data-hold="{name}"]')


def value(tab: Tab, name: str) -> float:
    script = f"return {FRAME}.handles.flatMap((one) => one.fields).find((one) => one.name === arguments[0]).value"
    return float(tab.run(script, name))  # type: ignore[arg-type]


def drag(tab: Tab, plane: str, name: str, across: int, down: int, steps: int = 6) -> None:
    moves = ActionChains(tab.driver, duration=20).move_to_element(hold(tab, plane, name)).click_and_hold()
    for _ in range(steps):
        moves.move_by_offset(across / steps, down / steps)
    before = tab.run(f"return {FRAME}.undo")
    moves.release().perform()
    tab.wait(f"return {FRAME}.undo > {before}")


def test_it_opens_without_complaint_and_asks_for_nothing_else(live: Tab, served: Served) -> None:
    assert live.error_messages() == []
    asked = {address for address in live.requests() if not address.startswith(("data:", "blob:", "about:"))}
    assert {address.partition("#")[0] for address in asked} == {f"http://127.0.0.1:{served.port}/"}
    assert live.run("return document.documentElement.scrollHeight <= innerHeight") is True
    assert "reflection" in str(live.run("return document.getElementById('answer').textContent"))
    small = live.run(
        "return [...document.querySelectorAll('section button:not(tbody button), select, .field input, header button')]"
        ".filter((one) => one.offsetParent && one.getBoundingClientRect().height < 44).map((one) => one.outerHTML)"
    )
    assert small == []


def test_a_drag_changes_the_answer_and_undo_brings_the_file_back(live: Tab, served: Served) -> None:
    before = live.run(f"return {FRAME}.reflections.map((one) => one.worst)")
    drag(live, "plan", "left|place", 24, 12)
    assert value(live, "left.from_front") > 0.62
    assert value(live, "left.from_front") * 200 == pytest.approx(round(value(live, "left.from_front") * 200), abs=1e-3)
    assert value(live, "left.from_left") - 0.95 == pytest.approx(2.05 - value(live, "right.from_left"), abs=1e-5)
    assert live.run(f"return {FRAME}.reflections.map((one) => one.worst)") != before
    live.driver.find_element(By.TAG_NAME, "body").send_keys(Keys.CONTROL, "z")
    live.wait(f"return {FRAME}.undo === 0")
    assert value(live, "left.from_front") == pytest.approx(0.62)
    live.run("document.getElementById('keep').click()")
    live.run("document.getElementById('keep-name').value = 'again'")
    live.driver.find_element(By.CSS_SELECTOR, "#keep-form [type=submit]").click()
    live.wait("return document.getElementById('said').textContent.startsWith('Kept')")
    assert (served.scene.parent / "again.toml").read_bytes() == ROOM.encode()


def test_knobs_turn_and_tilt(live: Tab) -> None:
    drag(live, "plan", "left|toe_in", 0, 30)
    assert 0.0 < value(live, "left.toe_in") < 30.0
    drag(live, "side", "left|tilt", 0, 18)
    assert 5.0 < value(live, "left.tilt") < 40.0
    assert value(live, "right.tilt") == value(live, "left.tilt")


def test_keys_move_by_steps_and_one_alone(live: Tab) -> None:
    live.run("document.getElementById('together').click()")
    hold(live, "plan", "left|place").send_keys(Keys.ARROW_RIGHT)
    live.wait(f"return {FRAME}.undo === 1")
    assert value(live, "left.from_left") == pytest.approx(0.955)
    assert value(live, "right.from_left") == pytest.approx(2.05)
    hold(live, "plan", "left|place").send_keys(Keys.SHIFT, Keys.ARROW_UP)
    live.wait(f"return {FRAME}.undo === 2")
    assert value(live, "left.from_front") == pytest.approx(0.619)
    live.run("document.getElementById('together').click()")


def test_a_typed_length_and_typed_nonsense(live: Tab) -> None:
    live.run("bounceplanView.select('left')")
    live.settle()
    field = live.driver.find_element(By.CSS_SELECTOR, '[data-field="left.from_front"]')
    field.send_keys(Keys.CONTROL, "a")
    field.send_keys("26 in", Keys.ENTER)
    live.wait(f"return {FRAME}.undo === 1")
    assert value(live, "left.from_front") == pytest.approx(0.6604)
    field.send_keys(Keys.CONTROL, "a")
    field.send_keys("far away", Keys.ENTER)
    live.wait("return document.getElementById('said').classList.contains('warns')")
    assert "far away" in str(live.run("return document.getElementById('said').textContent"))
    assert value(live, "left.from_front") == pytest.approx(0.6604)


def test_the_newest_place_wins(live: Tab) -> None:
    """Sixty moves in one second: few frames, the last of them of the last place."""
    sent = live.driver.execute_async_script(
        """const done = arguments[0], view = bounceplanView, start = view.link.frames; let i = 0;
        const timer = setInterval(() => {
          i += 1; view.link.move({ "left.from_front": 0.60 + 0.002 * i }, {});
          if (i === 60) { clearInterval(timer); view.link.release(); done(start); }
        }, 16);"""
    )
    live.wait(f"return {FRAME}.undo === 1")
    assert value(live, "left.from_front") == pytest.approx(0.72)
    assert live.run("return bounceplanView.link.frames") - sent < 62  # type: ignore[operator]


def test_a_place_that_cannot_be_is_outlined(live: Tab) -> None:
    drag(live, "plan", "left|place", 0, -110)
    live.wait("return document.getElementById('said').classList.contains('warns')")
    assert live.run("return document.getElementById('said').textContent.length") > 20  # type: ignore[operator]
    assert 0.25 < value(live, "left.from_front") < 0.55
    assert live.driver.find_elements(By.CSS_SELECTOR, ".in-the-way")


def test_it_is_usable_upright_on_a_tablet(live: Tab) -> None:
    live.size(800, 1280)
    live.settle()
    assert live.run("return document.documentElement.scrollHeight <= innerHeight") is True
    outside = live.run(
        "return [...document.querySelectorAll('section, button, select')].filter((one) => one.offsetParent)"
        ".filter((one) => one.getBoundingClientRect().right > innerWidth + 1 || one.getBoundingClientRect().left < -1)"
        ".map((one) => one.id || one.textContent)"
    )
    assert outside == []


def test_a_lost_socket_is_opened_again_with_the_newest_place(live: Tab, served: Served) -> None:
    drag(live, "plan", "left|place", 12, 0)
    there = value(live, "left.from_left")
    live.run("window.bounceplanView.frame = null; bounceplanView.waiting = null; bounceplanView.link.socket.close()")
    live.wait(f"return {FRAME} && document.documentElement.dataset.link === 'open'")
    assert value(live, "left.from_left") == there


def test_a_panel_is_hung_dragged_along_its_wall_and_taken_down(live: Tab) -> None:
    live.driver.find_element(By.ID, "hang").click()
    live.run("document.getElementById('hang-wall').value = 'right wall'")
    live.driver.find_element(By.CSS_SELECTOR, "#hang-form [type=submit]").click()
    live.wait(f"return {FRAME}.handles.some((one) => one.name === 'right wall panel 1')")
    live.wait("return bounceplanView.selected === 'right wall panel 1'")
    assert "reflection strikes" in str(live.run("return document.getElementById('said').textContent"))
    live.settle()
    before = value(live, "right wall panel 1.from_front"), value(live, "right wall panel 1.up")
    drag(live, "side", "right wall panel 1|place", 20, 20)
    after = value(live, "right wall panel 1.from_front"), value(live, "right wall panel 1.up")
    assert after[0] > before[0] and after[1] < before[1], "toward the rear, and down"
    assert live.error_messages() == []
    live.driver.find_element(By.ID, "take").click()
    live.wait(f"return !{FRAME}.handles.some((one) => one.name === 'right wall panel 1')")


def test_a_peak_and_a_dip_say_why_and_show_their_path(live: Tab) -> None:
    live.wait(f"return {FRAME}.fresh.curve === 'now' && {FRAME}.fresh.maps === 'now'", 400.0)
    live.driver.find_element(By.ID, "over-time").click()
    live.settle()
    first = live.run("return bounceplanView.times.stems[0].at")
    svg = live.driver.find_element(By.ID, "times")
    across = float(first[0]) - svg.size["width"] / 2  # type: ignore[index]
    ActionChains(live.driver).move_to_element_with_offset(svg, round(across), 0).click().perform()
    live.wait("return document.querySelector('#why pre').textContent.includes('What would remove it')", 60.0)
    key = live.run("return bounceplanView.chosen")
    assert key == live.run("return bounceplanView.times.stems[0].one.key")
    assert live.run("return document.querySelectorAll('#side .way').length") == 1
    live.driver.find_element(By.TAG_NAME, "body").send_keys(Keys.ESCAPE)
    assert live.run("return document.getElementById('why').hidden") is True
    live.driver.find_element(By.ID, "over-time").click()
    live.run("document.getElementById('curve').focus(); bounceplanView.curve.at = 10")
    live.driver.find_element(By.ID, "curve").send_keys(Keys.ENTER)
    live.wait("return document.querySelector('#why pre').textContent.includes('A dip at')", 60.0)
    assert "dip at" in str(live.run("return document.querySelector('#why h2').textContent"))
    live.driver.find_element(By.TAG_NAME, "body").send_keys(Keys.ESCAPE)
    assert live.error_messages() == []


def test_what_is_shown_is_saved_beside_the_scene_or_stopped(live: Tab, served: Served) -> None:
    live.driver.find_element(By.ID, "save").click()
    live.driver.find_element(By.CSS_SELECTOR, "[data-save=report]").click()
    live.wait("return document.getElementById('job').textContent.includes('scene-live-1.html:')", 60.0)
    live.driver.find_element(By.ID, "job-stop").click()
    live.wait("return document.getElementById('job').dataset.step === 'stopped'", 60.0)
    assert not list(served.scene.parent.glob("*.html")) and not list(served.scene.parent.glob(".*"))
    assert (served.scene.parent / "scene-live-1.toml").read_bytes() == ROOM.encode()


def moved(tab: Tab, scene: Path) -> Served:
    """A program on a scene in the tab, with two steps done: a monitor moved, a panel hung."""
    served = Served(scene)
    tab.size(1280, 800)
    tab.driver.get(served.address)
    tab.wait("return document.documentElement.dataset.ready")
    tab.run("bounceplanView.link.move({ 'left.from_front': 0.7, 'left.from_left': 1.0 }, { done: true })")
    tab.wait(f"return {FRAME}.undo === 1")
    tab.run("bounceplanView.link.say({ kind: 'hang', stock: 0, surface: 'right wall', alone: true })")
    tab.wait(f"return {FRAME}.undo === 2")
    return served


def back_there(tab: Tab, script: str = "true") -> None:
    tab.wait(f"return window.bounceplanView && {FRAME} && {FRAME}.undo === 1 && {script}", 40.0)
    assert value(tab, "left.from_front") == pytest.approx(0.7)
    assert value(tab, "left.from_left") == pytest.approx(1.0)
    assert tab.run(f"return {FRAME}.handles.some((one) => one.name === 'right wall panel 1')") is True


def test_a_page_goes_on_by_itself_when_its_program_is_started_again(tab: Tab, tmp_path: Path) -> None:
    """The program is killed, something else answers at its port meanwhile, and then it is started again."""
    scene = room_file(tmp_path)
    killed = moved(tab, scene)
    killed.end(signal.SIGKILL)
    tab.wait("return document.documentElement.dataset.link === 'lost'")
    with stranger(killed.port) as heard:
        tab.wait("return document.documentElement.dataset.link === 'refused'", 40.0)
        assert heard and all(set(json.loads(one)) == {"thrown"} for one in heard), "a stranger is told nothing"
        assert not any(killed.token in str(one) for one in heard)
    new = Served(scene)
    try:
        assert (new.port, new.token) == (killed.port, killed.token)
        back_there(tab, "document.documentElement.dataset.link === 'open'")
        new.end(signal.SIGKILL)
        tab.wait("return document.documentElement.dataset.link === 'lost'")
        new = Served(scene)
        tab.driver.get("about:blank")
        tab.driver.get(new.address)  # a page that is loaded again in its tab goes on too
        back_there(tab)
    finally:
        assert new.end(signal.SIGINT) == 128 + signal.SIGINT
    over = Served(scene)
    try:
        assert over.token != new.token, "Ctrl-C ends a session for good"
    finally:
        over.end(signal.SIGINT)
    tab.driver.get("about:blank")
    tab.error_messages()


@contextmanager
def stranger(port: int) -> Iterator[list[str]]:
    """Another program that took the port: it opens every socket, and wants to hear the word."""
    heard: list[str] = []

    def listen(connection: ServerConnection) -> None:
        for text in connection:
            heard.append(str(text))
            connection.send(json.dumps({"kind": "known", "proofs": ["0" * 64]}))

    with serve(listen, "127.0.0.1", port) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield heard


def test_a_new_program_is_brought_to_where_everything_stood(tab: Tab, tmp_path: Path) -> None:
    """The program is ended and started anew, with another word at another address: the page goes on there."""
    scene = room_file(tmp_path)
    ended = moved(tab, scene)
    ended.end(signal.SIGINT)
    tab.wait("return document.documentElement.dataset.link === 'lost'")
    new = Served(scene)
    try:
        assert new.token != ended.token
        field = tab.driver.find_element(By.ID, "going-on-address")
        field.send_keys("far away", Keys.ENTER)
        assert "whole address" in str(tab.run("return document.getElementById('going-on-fault').textContent"))
        field.clear()
        field.send_keys(new.address, Keys.ENTER)
        back_there(tab)
        assert tab.run("return location.hash") == f"#{new.token}", "what was brought does not stay in the address"
        tab.error_messages()
    finally:
        assert new.end() == 128 + signal.SIGTERM
    tab.driver.get("about:blank")


def test_a_drag_that_outlives_its_program_ends_where_it_was(tab: Tab, tmp_path: Path) -> None:
    scene = room_file(tmp_path)
    killed = moved(tab, scene)
    tab.run("bounceplanView.link.move({ 'left.from_front': 0.75 }, {})")
    tab.wait(f"return Math.abs({FRAME}.handles.find((one) => one.name === 'left').at[0] - 0.75) < 1e-4")
    killed.end(signal.SIGKILL)
    tab.run("bounceplanView.link.move({ 'left.from_front': 0.76 }, {})")
    tab.wait("return document.documentElement.dataset.link === 'lost'")
    tab.settle()
    tab.run("bounceplanView.link.release()")
    new = Served(scene)
    try:
        there = f"Math.abs({FRAME}.handles.find((one) => one.name === 'left').at[0] - 0.76) < 1e-4"
        tab.wait(f"return document.documentElement.dataset.link === 'open' && {FRAME}.undo === 2 && {there}", 40.0)
        assert value(tab, "left.from_front") == pytest.approx(0.76)
        assert value(tab, "left.from_left") == pytest.approx(1.0)
    finally:
        new.end(signal.SIGINT)
    tab.driver.get("about:blank")
    tab.error_messages()


def test_a_page_says_that_the_program_has_ended_and_keeps_what_it_shows(live: Tab, served: Served) -> None:
    """The last of this module: it ends the program as Ctrl-C does."""
    drag(live, "plan", "left|place", 12, 0)
    assert served.end(signal.SIGINT) == 128 + signal.SIGINT
    live.wait("return document.documentElement.dataset.link === 'lost'")
    assert "looked for again" in str(live.run("return document.getElementById('said').textContent"))
    assert "reflection" in str(live.run("return document.getElementById('answer').textContent"))
