"""Whatever ends a command, and whenever: what is to be seen is whole, and nothing stays behind.

`BOUNCEPLAN_KILLS=1000` runs so many cases in place of 20; `BOUNCEPLAN_KILLS_FROM=500` begins with that number.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from tests.processes.killing import FEW, References, end_one, job_of

KILLS = int(os.environ.get("BOUNCEPLAN_KILLS", str(FEW)))
FIRST = int(os.environ.get("BOUNCEPLAN_KILLS_FROM", "0"))


@pytest.mark.skipif(sys.platform != "linux", reason="looks for children in /proc")
def test_nothing_is_lost_or_half_written_whenever_a_command_is_ended(tmp_path: Path) -> None:
    references = References(tmp_path / "references")
    numbers = range(FIRST, FIRST + KILLS)
    references.need([job_of(number) for number in numbers])
    wrong = [reported for number in numbers if (reported := end_one(number, tmp_path / f"case {number}", references))]
    assert wrong == []
