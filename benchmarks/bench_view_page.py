"""The live page in a browser, from a move to the picture of it: median, 90th percentile, bytes, processor time.

Each move waits until the page has drawn the frame that answers it, as the page itself says; processor time is that of
the program alone, of the process that follows the hand.  Needs Chromium and its driver, as the tests of the page do.

Run: .venv/bin/python benchmarks/bench_view_page.py [moves] [room ...]
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np

HOME = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(HOME))
SCENES = {
    "bedroom-on-desk": ("left.tilt", 0.0, 10.0),
    "attic-facing-gable": ("left.height", 1.22, 1.30),
    "control-room-stands": ("left.from_left", 1.45, 1.55),
}
MOVES = """
const done = arguments[2], view = bounceplanView, [field, values] = [arguments[0], arguments[1]], took = [], bytes = [];
let i = 0, began = 0;
const drawn = view.link.drawn.bind(view.link);
const next = () => {
  if (i === values.length) { view.link.drawn = drawn; view.link.release(); done({ took, bytes }); return; }
  began = performance.now();
  view.link.move({ [field]: values[i] }, { fine: true });
};
view.link.drawn = () => {
  drawn();
  if ((view.frame.answered[view.link.page] ?? 0) < view.link.seq || view.link.wanted) return;
  took.push(performance.now() - began); bytes.push(view.frame.bytes); i += 1;
  requestAnimationFrame(next);
};
next();
"""


def processor_ms(process: int) -> float:
    """Processor time of a process so far, in milliseconds; nan where the system does not say."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    import os

    return 1000.0 * (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measured(tab: Any, scene: Path, name: str, moves: int) -> str:
    """Move one number of a demo room to and fro in the page, and say what each move took until it was drawn."""
    from tests.browser.test_view_page import Served

    field, low, high = SCENES[name]
    served = Served(scene)
    try:
        tab.driver.get(served.address)
        tab.wait("return document.documentElement.dataset.ready", 120.0)
        tab.wait(
            "return bounceplanView.frame.fresh.maps === 'now' && bounceplanView.frame.fresh.curve === 'now'", 300.0
        )
        values = np.random.default_rng(1).uniform(low, high, moves + 2).tolist()
        before = processor_ms(served.process.pid)
        found = tab.driver.execute_async_script(MOVES, field, values)
        spent = (processor_ms(served.process.pid) - before) / len(values)
    finally:
        served.end()
    median, high_ms = np.percentile(found["took"][2:], [50, 90])
    return (
        f"{name:22} {field:16} {median:7.1f} ms median {high_ms:7.1f} ms p90 "
        f"{spent:7.1f} ms processor {int(np.median(found['bytes'])):7} bytes"
    )


def main() -> None:
    """Measure all."""
    from tests.browser.conftest import Tab

    moves = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as place:
        tab = Tab(Path(place) / "browser")
        tab.driver.set_script_timeout(300)
        tab.size(1280, 800)
        try:
            for name in sys.argv[2:] or SCENES:
                shutil.copytree(HOME / "scenes" / name, Path(place) / name)
                print(measured(tab, Path(place) / name, name, moves))
        finally:
            tab.driver.quit()


if __name__ == "__main__":
    main()
