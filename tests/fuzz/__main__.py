"""A long run, with a log: python -m tests.fuzz CASES [kind ...] [--first NUMBER] [--log FILE]."""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from tests.fuzz.kinds import KINDS, fuzz
from tests.fuzz.tally import Tally


def main() -> None:
    """Run and print one line a kind, and each crash."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("cases", type=int)
    arguments.add_argument("kinds", nargs="*", default=list(KINDS))
    arguments.add_argument("--first", type=int, default=0)
    arguments.add_argument("--log", type=Path, default=Path("fuzz.log"))
    chosen = arguments.parse_args()

    def log(words: str) -> None:
        with chosen.log.open("a", encoding="utf-8") as file:
            file.write(f"{time.strftime('%H:%M:%S')} {words}\n")

    def said(tally: Tally) -> None:
        if tally.tried % 500 == 0:
            log(tally.words())

    for kind in chosen.kinds:
        with tempfile.TemporaryDirectory() as folder:
            for tally in fuzz(kind, Path(folder), chosen.first, chosen.cases, said):
                log(f"END {tally.words()}\n{tally.scene_error()}")


if __name__ == "__main__":
    main()
