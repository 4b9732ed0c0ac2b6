"""Children that draw end with whoever started them, and their pictures appear whole or not at all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import uuid
from pathlib import Path

import pytest

from sim.errors import OutputError
from sim.pipeline import trace
from sim.showing.child_drawing import REPORTED, run_child
from sim.showing.folder import CONTENTS, add_to_contents
from sim.showing.tables import write_traced
from tests.processes.killing import MARK, heed_interrupts, survivors

HOME = Path(__file__).resolve().parent.parent
SCENE = HOME / "scenes" / "bedroom-on-desk"
PLAN = """
import sys
from pathlib import Path
from sim.studies.check import draw_plan_of
print("begun", flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="looks for children in /proc")
def test_a_child_does_not_outlive_a_killed_parent(tmp_path: Path) -> None:
    mark = uuid.uuid4().hex
    script = f"{PLAN}draw_plan_of(Path(sys.argv[1]), Path(sys.argv[2]), print)"
    with subprocess.Popen(
        [sys.executable, "-c", script, str(SCENE), str(tmp_path / "plan.png")],
        cwd=HOME,
        stdout=subprocess.PIPE,
        env={**os.environ, MARK: mark},
    ) as child:
        assert child.stdout is not None
        child.stdout.readline()
        while len(list(Path(f"/proc/{child.pid}/task/{child.pid}").glob("children"))) == 1:
            if Path(f"/proc/{child.pid}/task/{child.pid}/children").read_text().split():
                break
        child.kill()
    assert survivors(mark) == ""
    assert list(tmp_path.glob("*.png")) == []


@pytest.mark.skipif(sys.platform != "linux", reason="looks for children in /proc")
@pytest.mark.parametrize(("number", "code"), [(signal.SIGTERM, 143), (signal.SIGINT, 130)])
def test_stopped_while_drawing_the_numbers_stay_and_no_picture_is_there(
    number: signal.Signals, code: int, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    write_traced(trace(SCENE, order=1, waves_to_hz=0.0), out)
    add_to_contents(out, out.iterdir())
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    mark = uuid.uuid4().hex
    with subprocess.Popen(
        [sys.executable, "-m", "sim", "draw", str(out)],
        cwd=HOME,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, MARK: mark},
        preexec_fn=heed_interrupts,
    ) as child:
        assert child.stderr is not None
        for line in child.stderr:
            if "map" in line:  # some are drawn by now
                break
        child.send_signal(number)
        said = [line for line in child.stderr.read().splitlines() if not line.startswith("  ...")]
    assert child.returncode == code
    assert said == ["bounceplan: stopped; what was finished stays, nothing half-written was left"]
    assert survivors(mark) == ""
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    assert "png" not in (out / CONTENTS).read_text()
    assert list(tmp_path.iterdir()) == [out]


def test_whatever_ends_the_wait_ends_the_child(tmp_path: Path) -> None:
    """The child of a parent that is told to stop went on drawing before."""

    def stop(_: str) -> None:
        raise KeyboardInterrupt

    late = f"import time\nprint(1, flush=True)\ntime.sleep(2)\nopen({str(tmp_path / 'late')!r}, 'w')"
    with pytest.raises(KeyboardInterrupt):
        run_child([sys.executable, "-c", late], report=stop)
    assert subprocess.run(["sleep", "2.5"], check=False).returncode == 0
    assert list(tmp_path.iterdir()) == []


def test_what_a_child_says_of_the_disk_is_no_missing_library() -> None:
    with pytest.raises(OutputError, match="the picture cannot be written"):
        run_child(
            [sys.executable, "-c", f"import sys; sys.stderr.write('the picture cannot be written'); exit({REPORTED})"]
        )
