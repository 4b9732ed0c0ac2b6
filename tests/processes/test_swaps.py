"""The swap of old results for new ones, killed at random moments many times: one of both is there, and whole."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from sim.machine.claims import clear_dead
from sim.showing.folder import CONTENTS, add_to_contents, results_folder
from tests.processes.killing import heed_interrupts

HOME = Path(__file__).resolve().parent.parent.parent
KILLS = int(os.environ.get("BOUNCEPLAN_KILLS", "20"))
FILES = 5
REPLACE = f"""
import sys
from pathlib import Path
import sim.machine.claims
from sim.machine import stopping
from sim.showing.folder import adding_to, results_folder
stopping.install()
if sys.argv[2] == "moved aside":
    sim.machine.claims._exchange = lambda *_: False
print("begun", flush=True)
out = Path(sys.argv[1])
for round in range(100_000):
    words = sys.argv[3] + str(round)
    with results_folder(out, overwrite=True) as folder:
        for number in range({FILES}):
            (folder / str(number)).write_text(words)
    with adding_to(out) as additions:
        (additions.beside(out) / "picture").write_text(words)
        additions.move_in()
"""


def test_old_or_new_results_are_there_whole_whenever_the_swap_is_killed(tmp_path: Path) -> None:
    out = tmp_path / "out"
    with results_folder(out, overwrite=False) as folder:
        for number in range(FILES):
            (folder / str(number)).write_text("first")
    (out / "note").write_text("mine")
    replaced = set()
    for case in range(KILLS):
        chance = random.Random(f"swap {case}")
        way = chance.choice(["swapped", "moved aside"])
        number = chance.choice([signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
        command = [sys.executable, "-c", REPLACE, str(out), way, f"{case} "]
        with subprocess.Popen(
            command, cwd=HOME, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, preexec_fn=heed_interrupts
        ) as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "begun\n"
            time.sleep(chance.uniform(0.0, 0.2))
            child.send_signal(number)
        if number != signal.SIGKILL:
            assert [path.name for path in tmp_path.iterdir()] == ["out"], case
        if way == "swapped" and sys.platform == "linux":
            assert out.is_dir(), case
        clear_dead(tmp_path)  # what the next run does first
        assert [path.name for path in tmp_path.iterdir()] == ["out"], case
        words = {(out / str(number)).read_text() for number in range(FILES)}
        assert len(words) == 1, case
        replaced |= words
        assert (out / "note").read_text() == "mine"
        listed = (out / CONTENTS).read_text().splitlines()[1:]
        seen = {path.name for path in out.iterdir()} - {"note"}
        assert seen <= set(listed), case
        if (out / "picture").exists():
            assert {(out / "picture").read_text()} == words, case
        add_to_contents(out, [])
    assert len(replaced) > KILLS // 4
