"""Requests to stop (Ctrl-C, or the system asking us to end): never lost, never in the middle of a step to be whole.

The first request raises KeyboardInterrupt wherever Python happens to be.  A library may swallow that (an exception in a
callback or while an object is taken away is only printed), so the request is also remembered: `go_on_unless_asked`
raises it again, and stands before whatever a person would see.  While `held`, a request waits for the end of the step.
The second request ends the process at once; what then lies about is hidden, and the next run clears it.

While a compiled function is loaded, the compiler asks Python for its machine code.  An exception there is swallowed,
the function is left without code, and its first use ends the process with a segmentation fault; so a request waits
until the compiler has done with Python.

Without `install` all of this does nothing: who imports the package keeps their own handling of signals.
"""

from __future__ import annotations

import _thread
import os
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

AGAIN_S = 1.0
"""A second request this soon is the first one twice, as when a terminal and a supervisor both pass it on."""
LATER_S = 0.002
"""How long a request waits that came while a library called back, before it is tried again."""
CALLING_BACK = "llvmlite."
"""Start of the names of modules into which a compiler calls back, and where an exception is swallowed."""
_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
_AT_ONCE = b"bounceplan: stopped at once; the next run clears what is left\n"


class _Requests:
    """What was asked of this process so far."""

    def __init__(self) -> None:
        self.asked: int | None = None
        self.when = 0.0
        self.held = 0
        self.waiting = False
        self.postponed = False
        self.over = False

    def take(self, number: int, frame: FrameType | None) -> None:
        if self.over:
            return
        now = time.monotonic()
        if self.asked is None or self.postponed:
            if self.asked is None:
                self.asked, self.when = number, now
            self.postponed = False
            if self.held:
                self.waiting = True
                return
            if _swallowed_in(frame):
                self.postponed = True
                _thread.start_new_thread(_ask_again, (self.asked,))
                return
            raise KeyboardInterrupt
        if now - self.when > AGAIN_S:
            try:
                os.write(2, _AT_ONCE)
            finally:
                os._exit(128 + number)


_requests = _Requests()


def _swallowed_in(frame: FrameType | None) -> bool:
    """Whether an exception raised now would get lost in a library that is calling back."""
    while frame is not None:
        if str(frame.f_globals.get("__name__", "")).startswith(CALLING_BACK):
            return True
        frame = frame.f_back
    return False


def _ask_again(number: int) -> None:
    """Pass a postponed request on once more, as if it came now; runs in a thread of its own."""
    time.sleep(LATER_S)
    _thread.interrupt_main(signal.Signals(number))


def install() -> None:
    """Take requests to stop from now on; one that this process was told to ignore (nohup, &) stays ignored."""
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _requests.take)
    sys.unraisablehook = _unraisable


def finished() -> None:
    """Take no more requests: all is done and told, and the process ends by itself in a moment.

    They are ignored, not only unheeded: an interpreter that ends gives back every handler of its own, and a request in
    the moment after that would make a job that is done look like one that was killed.
    """
    _requests.over = True
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == _requests.take:
            signal.signal(number, signal.SIG_IGN)


def asked() -> int | None:
    """Number of the signal that asked us to stop, or None."""
    return _requests.asked


def go_on_unless_asked() -> None:
    """Raise KeyboardInterrupt if a request to stop came and was lost on its way.

    Raises
    ------
    KeyboardInterrupt
        If so.
    """
    if _requests.asked is not None:
        raise KeyboardInterrupt


@contextmanager
def held() -> Iterator[None]:
    """A step that a request to stop must not cut in two; the request is heeded right after it."""
    _requests.held += 1
    try:
        yield
    finally:
        _requests.held -= 1
        if _requests.waiting and not _requests.held:
            _requests.waiting = False
            raise KeyboardInterrupt


def _unraisable(what: Any) -> None:
    """Keep quiet about a request that a library swallowed, which is raised again, and tell anything else.

    An object that a request kept from being made whole may lack what its end asks for: no more than that request.
    """
    half_made = issubclass(what.exc_type, AttributeError) and getattr(what.object, "__name__", "") == "__del__"
    if _requests.asked is None or not (half_made or issubclass(what.exc_type, KeyboardInterrupt)):
        sys.__unraisablehook__(what)
