"""Rows of `benchmarks/history.csv`: which commit, when, on what machine, on how many threads, what, its ratio."""

from __future__ import annotations

import csv
import datetime
import platform
import subprocess
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from sim.machine.processes import all_cores

HOME = Path(__file__).resolve().parent.parent
HISTORY = HOME / "benchmarks" / "history.csv"
COLUMNS = ("commit", "date", "machine", "threads", "what", "ratio", "unit")
VECTORS = (("avx512f", "AVX-512"), ("avx2", "AVX2"), ("asimd", "NEON"))


class Row(NamedTuple):
    """One ratio: what was measured, how large it is, of what unit, and on how many threads."""

    what: str
    ratio: float
    unit: str
    threads: int = 1


def machine_words() -> str:
    """The machine without its name: cores, how many numbers it works on at once, Python."""
    info = Path("/proc/cpuinfo")
    flags = info.read_text(encoding="utf-8").split() if info.exists() else []
    wide = next((words for flag, words in VECTORS if flag in flags), platform.machine())
    return (
        f"{all_cores()} cores, {wide}, Python {platform.python_version_tuple()[0]}.{platform.python_version_tuple()[1]}"
    )


def commit() -> str:
    """Short name of the commit, "+" behind it where files have been changed since."""
    try:
        name, changed = (
            subprocess.run(["git", *words], cwd=HOME, check=True, capture_output=True, text=True).stdout.strip()
            for words in (["rev-parse", "--short=9", "HEAD"], ["status", "--porcelain", "--", "sim", "benchmarks/*.py"])
        )
    except (OSError, subprocess.CalledProcessError):
        return "unknown"
    return name + "+" * bool(changed)


def lines(rows: Iterable[Row]) -> list[tuple[str, ...]]:
    """The rows as `COLUMNS` says."""
    now = datetime.datetime.now(datetime.UTC).date().isoformat()
    before = (commit(), now, machine_words())
    return [(*before, str(row.threads), row.what, f"{row.ratio:.4g}", row.unit) for row in rows]


def append(rows: Iterable[Row], place: Path = HISTORY) -> None:
    """Add rows at the end of the history, which is begun where there is none."""
    begun = place.exists()
    with place.open("a", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        if not begun:
            writer.writerow(COLUMNS)
        writer.writerows(lines(rows))
