"""All benchmarks as ratios in one run, written down in `benchmarks/history.csv`.

Run: python -m benchmarks.all [--quick] [--dry] [name ...]

Names are those of `ratios.MEASURES` (all unless given).  `--quick` is one small pass of each, a minute or two; without
it, half an hour on two cores.  `--dry` writes nothing down.  One that fails is said and left out; the others go on.
"""

from __future__ import annotations

import argparse
import sys

from benchmarks.history import HISTORY, Row, append, commit, machine_words
from benchmarks.ratios import MEASURES


def main() -> int:
    """Measure, print and write down."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("name", nargs="*", choices=[*MEASURES, []], help=", ".join(MEASURES))
    parser.add_argument("--quick", action="store_true", help="one small pass")
    parser.add_argument("--dry", action="store_true", help="write nothing down")
    options = parser.parse_args()
    print(f"{commit()}, {machine_words()}")
    failed = []
    for name in options.name or MEASURES:
        try:
            rows = MEASURES[name](options.quick)
        except Exception as fault:  # a peer may not be there; the others are still worth their time
            failed.append(name)
            print(f"{name}: left out: {type(fault).__name__}: {fault}", file=sys.stderr)
            continue
        if not options.dry:
            append(rows)
        for row in rows:
            print(said(row), flush=True)
    if not options.dry:
        print(f"written down in {HISTORY.name}")
    return 1 if failed else 0


def said(row: Row) -> str:
    """One row for a person."""
    return f"{row.what:60} {row.ratio:9.3g}  {row.unit}" + (f", {row.threads} threads" if row.threads > 1 else "")


if __name__ == "__main__":
    sys.exit(main())
