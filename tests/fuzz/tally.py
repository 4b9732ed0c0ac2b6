"""One case at a time, within a limit of time, and a count of how they ended."""

from __future__ import annotations

import collections
import json
import signal
import time
import traceback
import warnings
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Final

from sim.errors import LONGEST_SENTENCE, UNPRINTABLE, BounceplanError

SECONDS: Final = 20
"""Of the processor's time for one case; most take hundredths of a second."""
WAITING_SECONDS: Final = 120
"""By the clock: what waits takes no time of the processor, and a busy machine makes all of it longer."""
SEED: Final = 20_260


class TooSlowError(BaseException):
    """Not an Exception, so that no reader takes it for a fault of the file."""


class Tally:
    """How cases of one kind ended, and the first example of each way to crash."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.tried = self.accepted = self.refused = 0
        self.slowest_s = 0.0
        self.slowest_case = -1
        self.crashes: dict[str, list[int]] = collections.defaultdict(list)
        self.traces: dict[str, str] = {}
        self.notes: collections.Counter[str] = collections.Counter()

    def run(self, number: int, case: Callable[[], None]) -> bool:
        """Run a case; whether it was accepted.  Any end but a result or one good sentence counts as a crash."""
        self.tried += 1
        begin = time.perf_counter()
        usual = [signal.signal(kind, _too_slow) for kind in (signal.SIGALRM, signal.SIGPROF)]
        signal.setitimer(signal.ITIMER_REAL, WAITING_SECONDS)
        signal.setitimer(signal.ITIMER_PROF, SECONDS)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                warnings.simplefilter("ignore", ResourceWarning)
                case()
            self.accepted += 1
            return True
        except BounceplanError as fault:
            words = str(fault)
            if UNPRINTABLE.search(words) or len(words) > LONGEST_SENTENCE + 10 or not words.endswith("."):
                self._crashed(number, f"sentence {words[:100]!r}", "")
            else:
                self.refused += 1
        except (Exception, TooSlowError) as fault:
            frames = traceback.extract_tb(fault.__traceback__)
            ours = [frame for frame in frames if "/sim/" in frame.filename] or list(frames)
            place = f"{Path(ours[-1].filename).name}:{ours[-1].lineno}" if ours else "?"
            self._crashed(number, f"{type(fault).__name__} at {place}", traceback.format_exc())
        finally:
            for timer in (signal.ITIMER_REAL, signal.ITIMER_PROF):
                signal.setitimer(timer, 0.0)
            for kind, handler in zip((signal.SIGALRM, signal.SIGPROF), usual, strict=True):
                signal.signal(kind, handler)
            took = time.perf_counter() - begin
            if took > self.slowest_s:
                self.slowest_s, self.slowest_case = took, number
        return False

    def _crashed(self, number: int, what: str, trace: str) -> None:
        self.crashes[what].append(number)
        self.traces.setdefault(what, trace)

    @property
    def crashed(self) -> int:
        """Cases that ended neither in a result nor in a sentence."""
        return sum(len(cases) for cases in self.crashes.values())

    def words(self) -> str:
        """One line."""
        counts = f"tried {self.tried}, refused {self.refused}, accepted {self.accepted}, crashed {self.crashed}"
        slowest = f"slowest {self.slowest_s:.1f} s (case {self.slowest_case})"
        return f"{self.kind}: {counts}; {slowest} {json.dumps(dict(self.notes)) if self.notes else ''}"

    def scene_error(self) -> str:
        """Each way to crash with its cases and the place in the code."""
        return "\n".join(
            f"{what}: {len(cases)} cases, such as {cases[:3]}\n{self.traces[what][-1500:]}"
            for what, cases in self.crashes.items()
        )


def _too_slow(_: int, __: FrameType | None) -> None:
    raise TooSlowError(f"not done within {SECONDS} s")
