"""Put faults into sim on purpose and count how many the tests catch.

    .venv/bin/python -m tests.faults.put_in --seed 1 --count 200 --out faults.json

Adds to the file, so that a run can be stopped and gone on with; `--again` runs those that survived once more.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from tests.faults.kinds import Fault, faults_in
from tests.faults.running import ROOT, nearest_tests, outcome, warm_up

FOLDERS = {
    "acoustics": 3,
    "loudspeakers": 4,
    "placement": 4,
    "geometry": 3,
    "propagation": 5,
    "responses": 6,
    "layouts": 4,
    "studies": 7,
    "showing": 2,
}
"""Folders whose formulas and tables are tried, and how often each against the others."""
RAY_LANES = {"lanes", "eight_kernels", "wide_tree", "tree_kernels", "walk_kernels"}
WORDS_ONLY = {
    "answer_words",
    "answering",
    "arguments",
    "cautions",
    "chart",
    "child_drawing",
    "cluster",
    "command",
    "curves",
    "drawn",
    "file_meanings",
    "folder",
    "journal",
    "many",
    "new_scene",
    "page",
    "readme",
    "report",
    "saving",
    "scene_data",
    "screen",
    "sections",
    "store",
    "store_file",
    "terminal",
    "text",
    "words",
    "workers",
}
"""Modules that hold words, looks or housekeeping instead of physics and tables."""
KERNEL_EVERY = 6
"""Kernels must be compiled anew for each fault: one of so many is tried."""
KERNEL_TIMES = 4
"""... and has so many times longer."""


def chosen_faults(seed: int, count: int, folders: Sequence[str] = ()) -> list[tuple[Path, Fault]]:
    """Toss faults: a folder by its weight, a module, a kind of fault, one of that kind."""
    draw, found = random.Random(seed), []
    weights = {name: weight for name, weight in FOLDERS.items() if not folders or name in folders}
    modules = {
        folder: [
            path
            for path in sorted((ROOT / "sim" / folder).rglob("*.py"))
            if path.stem not in RAY_LANES | WORDS_ONLY | {"__init__"} and "picture" not in path.stem
        ]
        for folder in FOLDERS
    }
    kept: dict[Path, list[Fault]] = {}
    seen: set[tuple[Path, int]] = set()
    while len(found) < count:
        folder = draw.choices(list(weights), list(weights.values()))[0]
        path = draw.choice(modules[folder])
        if "kernels" in path.stem and draw.randrange(KERNEL_EVERY):
            continue
        faults = kept.setdefault(path, faults_in(path.read_text(encoding="utf-8")))
        if not faults:
            continue
        kind = draw.choice(sorted({fault.kind for fault in faults}))
        fault = draw.choice([each for each in faults if each.kind == kind])
        if (path, fault.number) not in seen:
            seen.add((path, fault.number))
            found.append((path, fault))
    return found


def main() -> None:
    """Read the command line, run what is not in the file yet, add it up."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seconds", type=float, default=60.0, help="processor time for the tests of one fault")
    parser.add_argument("--out", type=Path, default=Path("results/faults.json"))
    parser.add_argument("--again", action="store_true", help="run those that survived once more")
    parser.add_argument("--folders", nargs="*", default=[], choices=list(FOLDERS), help="only faults in these")
    given = parser.parse_args()
    given.out.parent.mkdir(parents=True, exist_ok=True)
    known: dict[str, dict[str, Any]] = json.loads(given.out.read_text()) if given.out.exists() else {}
    os.nice(1)
    warm_up()
    for path, fault in chosen_faults(given.seed, given.count, given.folders):
        name = f"{path.relative_to(ROOT)}:{fault.line} {fault.kind}: {fault.was} -> {fault.now}"
        before = known.get(name)
        if before and not (given.again and before["came"] in ("survived", "unfinished")):
            continue
        seconds = given.seconds * (KERNEL_TIMES if "kernels" in path.stem else 1)
        came, where, took = outcome(path, fault.number, nearest_tests(path), seconds, given.out.with_suffix(".log"))
        known[name] = {**asdict(fault), "module": str(path.relative_to(ROOT)), "came": came, "by": where, "s": took}
        given.out.write_text(json.dumps(known, indent=1))
        sys.stdout.write(f"{came} ({took} s, {where}) {name}\n")
        sys.stdout.flush()
    sys.stdout.write(f"{dict(Counter(each['came'] for each in known.values()))}\n")


if __name__ == "__main__":
    main()
