"""The page of `sketch` in a real browser: a room by form, a dragged corner, corners traced over a photo, a saved file.

No request leaves the machine, and nothing of the photo crosses the socket: the frames that the browser sent are read.
"""

from __future__ import annotations

import json
import math
import re
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from sim.blueprint.reader import read_scene
from sim.cli import run
from sim.machine.processes import own_python
from tests.browser.conftest import Tab

pytestmark = pytest.mark.browser
ROOM = "window.bounceplanSketch.room"
PHOTO_PX_PER_M = 200.0
ASKEW_DEG = 2.0
SQUARE_CORNERS = ((200, 100), (200, 900), (650, 900), (650, 600), (900, 600), (900, 100))
"""Corners of the drawn plan in pixels, from the front left one by the left wall: an L of 4.00 m by 3.50 m."""


class Sketched:
    """The command, serving a folder."""

    def __init__(self, place: Path) -> None:
        command = own_python("sim.__main__", "sketch", str(place), "--no-browser")
        command[3] = command[3].replace("main(sys.argv[1:])", "main()")  # as the command itself: it takes signals
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:(\d+)/#(\S+)", line):
                self.address, self.port = found[0], int(found[1])
                return
        assert self.process.stderr is not None
        raise AssertionError(self.process.stderr.read())

    def end(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        self.process.communicate(timeout=30.0)
        return self.process.returncode


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("sketch") / "den"


@pytest.fixture(scope="module")
def served(home: Path) -> Iterator[Sketched]:
    one = Sketched(home)
    yield one
    assert one.end() == 128 + signal.SIGTERM


@pytest.fixture
def sketch(tab: Tab, served: Sketched) -> Iterator[Tab]:
    """The page with a box again, whatever the test before made of it."""
    tab.size(1280, 800)
    tab.driver.get("about:blank")
    tab.driver.get_log("browser")
    tab.driver.get_log("performance")
    tab.driver.get(served.address)
    tab.wait("return document.documentElement.dataset.ready")
    for _ in range(60):
        undo = int(tab.run(f"return {ROOM}.undo"))  # type: ignore[call-overload]
        if not undo:
            break
        tab.run("document.getElementById('undo').click()")
        tab.wait(f"return {ROOM}.undo < {undo}")
    yield tab
    tab.run("window.bounceplanSketch.room.saved = true")  # or leaving is asked about
    tab.driver.get("about:blank")


def field(tab: Tab, name: str):
    return tab.driver.find_element(By.CSS_SELECTOR, f'[data-field="{name}"]')


def put(tab: Tab, name: str, text: str) -> None:
    """Type into a field and take it with Enter, or choose."""
    one = field(tab, name)
    if one.tag_name == "select":
        one.find_element(By.CSS_SELECTOR, f'option[value="{text}"]').click()
    else:
        one.send_keys(Keys.CONTROL, "a")
        one.send_keys(text, Keys.ENTER)
    tab.wait(f"return {ROOM}.texts['{name}'] === {json.dumps(text)}")


def corners(tab: Tab) -> np.ndarray:
    return np.array(tab.run(f"return {ROOM}.drawing.corners"))


def click_photo(tab: Tab, x: float, y: float) -> None:
    """Click where a pixel of the photo is shown."""
    place = tab.run(
        "const u = bounceplanSketch.underlay, [x, y] = u.drawing.at(u.toMetres([arguments[0] - 0.5 * u.bitmap.width,"
        " arguments[1] - 0.5 * u.bitmap.height])), box = u.drawing.svg.getBoundingClientRect();"
        " return [x - 0.5 * box.width, y - 0.5 * box.height]",
        x,
        y,
    )
    svg = tab.driver.find_element(By.CSS_SELECTOR, "#plan svg")
    across, down = (round(float(one)) for one in place)  # type: ignore[union-attr]
    ActionChains(tab.driver, duration=10).move_to_element_with_offset(svg, across, down).click().perform()


def photo(folder: Path) -> Path:
    """A plan as somebody drew it and held the camera askew: 1200 by 1000 pixels of noisy paper."""
    paper = np.random.default_rng(7).integers(200, 240, (1000, 1200, 3), dtype=np.uint8)
    image = Image.fromarray(paper)
    ImageDraw.Draw(image).line([*SQUARE_CORNERS, SQUARE_CORNERS[0]], fill=(40, 40, 90), width=8)
    path = folder / "plan.png"
    image.rotate(ASKEW_DEG).save(path)
    return path


def askew(x: float, y: float) -> tuple[float, float]:
    """Where a point of the paper is on the photo: turned counter-clockwise about the middle of the picture."""
    turn, right, down = math.radians(ASKEW_DEG), x - 600.0, y - 500.0
    return (
        600.0 + right * math.cos(turn) + down * math.sin(turn),
        500.0 - right * math.sin(turn) + down * math.cos(turn),
    )


def sent(tab: Tab) -> tuple[list[str], list[str]]:
    """Everything that the page sent over its socket since it was opened, and addresses that it asked for."""
    messages = [json.loads(entry["message"])["message"] for entry in tab.driver.get_log("performance")]
    frames = [m["params"]["response"]["payloadData"] for m in messages if m["method"] == "Network.webSocketFrameSent"]
    asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    return frames, [address for address in asked if not address.startswith(("data:", "about:"))]


def test_it_opens_without_complaint_and_asks_for_nothing_else(sketch: Tab, served: Sketched) -> None:
    assert sketch.error_messages() == []
    asked = {address for address in sketch.requests() if not address.startswith(("data:", "blob:", "about:"))}
    assert {address.partition("#")[0] for address in asked} == {f"http://127.0.0.1:{served.port}/"}
    assert "sent nowhere" in str(sketch.run("return document.getElementById('photo').textContent"))


@pytest.mark.parametrize("size", [(1280, 800), (800, 1280)])
def test_it_fits_and_fingers_find_it(sketch: Tab, size: tuple[int, int]) -> None:
    sketch.size(*size)
    sketch.settle()
    assert sketch.run("return document.documentElement.scrollHeight <= innerHeight") is True
    assert sketch.run("return document.documentElement.scrollWidth <= innerWidth") is True
    small = sketch.run(
        "return [...document.querySelectorAll('button, select, .button, .check, input:not([type=checkbox])"
        ":not([type=file])')].filter((one) => one.offsetParent && (one.getBoundingClientRect().height < 44 ||"
        " one.getBoundingClientRect().width < 44)).map((one) => one.outerHTML)"
    )
    assert small == []
    reach = sketch.run("return document.querySelector('.hold .reach').getBoundingClientRect().width")
    assert float(reach) >= 44.0  # type: ignore[arg-type]
    named = sketch.run(
        "return [...document.querySelectorAll('input, select')].filter((one) => one.offsetParent && !one.labels.length)"
        ".map((one) => one.outerHTML)"
    )
    assert named == []


def test_an_l_by_form_a_dragged_corner_and_a_saved_file(sketch: Tab, home: Path) -> None:
    put(sketch, "shape", "L")
    put(sketch, "width", "11 ft 2 1/4 in")
    put(sketch, "cut_width", "120 cm")
    put(sketch, "cut_depth", "1.4")
    inner = sketch.driver.find_element(By.CSS_SELECTOR, '[data-corner="3"]')
    assert corners(sketch)[3] == pytest.approx([2.8, 2.20995])
    steps = sketch.run("return bounceplanSketch.drawing.scale")
    before = int(sketch.run(f"return {ROOM}.undo"))  # type: ignore[call-overload]
    drag = ActionChains(sketch.driver, duration=20).move_to_element(inner).click_and_hold()
    for _ in range(5):
        drag.move_by_offset(-8, 4)
    drag.release().perform()
    sketch.wait(f"return {ROOM}.undo === {before + 1} && !bounceplanSketch.drawing.dragged")
    front, left = corners(sketch)[3]
    assert front == pytest.approx(2.8 + 20 / float(steps), abs=0.02)  # type: ignore[arg-type]
    cuts = [float(str(sketch.run(f"return {ROOM}.texts.{name}"))) for name in ("cut_width", "cut_depth")]
    assert cuts == pytest.approx([3.40995 - left, 4.2 - front], abs=0.003)
    assert all(abs(cut * 1000 - round(cut * 1000)) < 1e-6 for cut in cuts)  # the tape has millimetres
    put(sketch, "desk.top", "72 cm")
    put(sketch, "monitors_on", "built in")
    for what in ("beam", "radiator"):
        sketch.run(
            f"[...document.querySelectorAll('#form button')].find((one) => one.textContent === 'Add a {what}').click()"
        )
        sketch.wait(f"return document.querySelector('#plan .body.{what}')")
    assert sketch.run("return document.querySelectorAll('#plan .body.built-in').length") == 2
    sketch.driver.find_element(By.ID, "save").click()
    sketch.wait("return document.getElementById('said').textContent.startsWith('Wrote scene.toml')")
    scene = read_scene(home)
    assert scene.blueprint.room.outline is not None and len(scene.blueprint.room.outline) == 6
    assert scene.blueprint.furniture[0].top == pytest.approx(0.72)
    assert [item.name for item in scene.blueprint.furniture] == ["desk", "beam", "radiator"]
    assert {one.built_into for one in scene.blueprint.loudspeakers} == {("front wall",)}
    assert run(["check", str(home)]) == 0


def test_typed_nonsense_is_said_beside_the_field_and_the_room_stays(sketch: Tab) -> None:
    before = corners(sketch).tolist()
    put(sketch, "width", "wide")
    words = str(sketch.run("return document.querySelector('[data-fault=width]').textContent"))
    assert '"wide" is not a length; write a number and a unit' in words
    assert field(sketch, "width").get_attribute("aria-invalid") == "true"
    assert corners(sketch).tolist() == before
    put(sketch, "width", "40 cm")
    assert "give between" in str(sketch.run("return document.querySelector('[data-fault=width]').textContent"))
    sketch.driver.find_element(By.ID, "save").click()
    sketch.wait("return document.getElementById('said').textContent.includes('Nothing was written')")
    put(sketch, "width", "3.6 m")
    assert sketch.run("return document.querySelector('[data-fault=width]').textContent") == ""
    assert corners(sketch)[:, 1].max() == pytest.approx(3.6)


def test_corners_move_by_keys_and_undo(sketch: Tab) -> None:
    corner = sketch.driver.find_element(By.CSS_SELECTOR, '[data-corner="2"]')
    corner.send_keys(Keys.ARROW_DOWN)
    sketch.wait(f"return {ROOM}.texts.depth === '4.205'")
    corner.send_keys(Keys.SHIFT, Keys.ARROW_RIGHT)
    sketch.wait(f"return {ROOM}.texts.width === '3.401'")
    sketch.driver.find_element(By.CSS_SELECTOR, '[data-corner="1"]').send_keys(Keys.INSERT)
    sketch.wait(f"return {ROOM}.texts.shape === 'outline' && {ROOM}.rows.corners.length === 5")
    sketch.driver.find_element(By.CSS_SELECTOR, '[data-corner="2"]').send_keys(Keys.DELETE)
    sketch.wait(f"return {ROOM}.rows.corners.length === 4")
    for _ in range(4):
        count = sketch.run(f"return {ROOM}.undo")
        sketch.driver.find_element(By.TAG_NAME, "body").send_keys(Keys.CONTROL, "z")
        sketch.wait(f"return {ROOM}.undo < {count}")
    assert sketch.run(f"return [{ROOM}.texts.shape, {ROOM}.texts.depth, {ROOM}.undo]") == ["box", "4.2", 0]


def test_a_photo_beneath_is_traced_and_never_sent(sketch: Tab, served: Sketched, home: Path, tmp_path: Path) -> None:
    picture = photo(tmp_path)
    sketch.driver.find_element(By.ID, "file").send_keys(str(picture))
    sketch.wait("return Boolean(bounceplanSketch.underlay.bitmap)")
    sketch.settle()
    pixels = "const c = document.querySelector('#plan canvas'), x = c.getContext('2d');"
    pixels += " return [...x.getImageData(c.width / 2, c.height / 2, 1, 1).data]"
    assert sketch.run(pixels)[3] == pytest.approx(255 * 0.6, abs=3)  # type: ignore[index]
    sketch.run("const o = document.getElementById('opacity'); o.value = 80; o.dispatchEvent(new Event('input'))")
    assert sketch.run(pixels)[3] == pytest.approx(255 * 0.8, abs=3)  # type: ignore[index]

    sketch.driver.find_element(By.ID, "scale").click()
    click_photo(sketch, *askew(*SQUARE_CORNERS[0]))
    click_photo(sketch, *askew(*SQUARE_CORNERS[5]))
    sketch.driver.find_element(By.ID, "level").click()
    distance = sketch.driver.find_element(By.ID, "distance")
    distance.send_keys("three", Keys.ENTER)
    sketch.wait("return document.getElementById('distance-fault').textContent.includes('is not a length')")
    distance.clear()
    distance.send_keys("350 cm", Keys.ENTER)
    sketch.wait("return bounceplanSketch.underlay.mode === ''")
    per_pixel = float(sketch.run("return bounceplanSketch.underlay.perPixel"))  # type: ignore[arg-type]
    assert per_pixel == pytest.approx(1.0 / PHOTO_PX_PER_M, rel=0.01)

    sketch.driver.find_element(By.ID, "trace").click()
    assert float(sketch.run("return bounceplanSketch.underlay.angle")) == pytest.approx(ASKEW_DEG, abs=0.3)
    for corner in SQUARE_CORNERS:
        click_photo(sketch, *askew(*corner))
    sketch.driver.find_element(By.ID, "trace-done").click()
    sketch.wait(f"return {ROOM}.texts.shape === 'outline'")
    drawn = (np.array(SQUARE_CORNERS)[:, ::-1] - np.array([100, 200])) / PHOTO_PX_PER_M
    assert np.abs(corners(sketch) - drawn).max() < 0.03  # a click is a whole pixel of the screen, here 9 mm
    assert {len(set(column)) for column in corners(sketch).T} == {3}  # walls lie square
    sketch.driver.find_element(By.ID, "save-as").click()
    name = sketch.driver.find_element(By.ID, "save-name")
    name.clear()
    name.send_keys("traced", Keys.ENTER)
    sketch.wait("return document.getElementById('said').textContent.startsWith('Wrote traced.toml')")
    assert run(["check", str(home / "traced.toml")]) == 0

    (frames, asked), bytes_of_picture = sent(sketch), picture.read_bytes()
    assert {address.partition("#")[0] for address in asked} == {f"http://127.0.0.1:{served.port}/"}
    assert frames and sum(map(len, frames)) < 4000 < len(bytes_of_picture) / 100
    kinds = [json.loads(frame).get("kind", "token") for frame in frames]
    assert (
        {"length", "trace", "save"} <= set(kinds) <= {"token", "go", "pause", "undo", "length", "trace", "save", "set"}
    )
    assert all(str(picture.name) not in frame for frame in frames)
    assert sorted(item.name for item in home.iterdir()) in (["scene.toml", "traced.toml"], ["traced.toml"])


def test_corners_are_clicked_by_keys(sketch: Tab) -> None:
    sketch.driver.find_element(By.ID, "trace").send_keys(Keys.ENTER)
    for keys in ([Keys.ARROW_LEFT] * 12, [Keys.ARROW_DOWN] * 12, [Keys.ARROW_RIGHT] * 14):
        ActionChains(sketch.driver, duration=5).send_keys(*keys, Keys.ENTER).perform()
    assert sketch.run("return bounceplanSketch.underlay.points.length") == 3
    ActionChains(sketch.driver).send_keys(Keys.BACKSPACE).perform()
    assert sketch.run("return bounceplanSketch.underlay.points.length") == 2
    ActionChains(sketch.driver).send_keys(Keys.ESCAPE).perform()
    assert sketch.run("return bounceplanSketch.underlay.mode") == ""


def test_what_is_no_picture_is_refused(sketch: Tab, tmp_path: Path) -> None:
    fake = tmp_path / "plan.png"
    for content, words in (
        (b"BM not a picture", "neither PNG nor JPEG"),
        (b"\x89PNG\r\n\x1a\nbroken", "cannot be read"),
    ):
        fake.write_bytes(content)
        sketch.driver.find_element(By.ID, "file").send_keys(str(fake))
        sketch.wait(f"return document.getElementById('said').textContent.includes('{words}')")
    assert sketch.run("return bounceplanSketch.underlay.bitmap") is None
    paper = tmp_path / "plan.jpg"
    Image.new("RGB", (400, 300), (220, 215, 200)).save(paper)
    sketch.driver.find_element(By.ID, "file").send_keys(str(paper))
    sketch.wait("return bounceplanSketch.underlay.bitmap?.width === 400")
