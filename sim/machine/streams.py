"""What a command prints, on every kind of screen, pipe and file: printing never ends the work.

A reader that has seen enough (`| head`) and a screen that is gone swallow the rest without a word, since the job goes
on and its files matter more.  Where the output cannot be kept (a full disk) the command says so when its work is done.
Characters that the screen's encoding lacks are replaced by the nearest it has.
"""

from __future__ import annotations

import codecs
import errno
import io
import os
import sys
import unicodedata
from typing import Final, TextIO

PLAIN: Final = {
    "\N{MINUS SIGN}": "-",
    "\N{EN DASH}": "-",
    "\N{EM DASH}": "-",
    "\N{MULTIPLICATION SIGN}": "x",
    "\N{DEGREE SIGN}": " deg",
    "\N{HORIZONTAL ELLIPSIS}": "...",
    "\N{BULLET}": "*",
    "\N{MIDDLE DOT}": ".",
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{LEFT SINGLE QUOTATION MARK}": "'",
    "\N{RIGHT SINGLE QUOTATION MARK}": "'",
    "\N{LEFT DOUBLE QUOTATION MARK}": '"',
    "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
    "\N{LATIN SMALL LETTER SHARP S}": "ss",
    "\N{ALMOST EQUAL TO}": "~",
    "\N{GREATER-THAN OR EQUAL TO}": ">=",
    "\N{LESS-THAN OR EQUAL TO}": "<=",
    "\N{PLUS-MINUS SIGN}": "+/-",
    "\N{MICRO SIGN}": "u",
    "\N{GREEK SMALL LETTER MU}": "u",
    "\N{NO-BREAK SPACE}": " ",
}
_ERRORS: Final = "bounceplan-nearest"
_GONE: Final = frozenset({errno.EPIPE, errno.EBADF, errno.EINVAL, errno.ECONNRESET})
"""Nobody reads any more: a closed pipe (EINVAL on Windows), or a stream that was closed."""


def nearest(fault: UnicodeError) -> tuple[str, int]:
    """Replace characters that cannot be written by the nearest ASCII; an error handler for codecs."""
    if not isinstance(fault, UnicodeEncodeError):
        raise fault
    made = []
    for letter in fault.object[fault.start : fault.end]:
        bare = "".join(part for part in unicodedata.normalize("NFKD", letter) if part.isascii())
        made.append(PLAIN.get(letter) or bare or "?")
    return "".join(made), fault.end


class Outlet(io.RawIOBase):
    """The lowest layer of an output stream, which takes everything and remembers what could not be passed on."""

    def __init__(self, raw: io.RawIOBase | None) -> None:
        self._raw = raw
        self.fault: OSError | None = None

    def write(self, data: object) -> int:
        """Pass bytes on, or drop them when nobody takes them any more."""
        view = memoryview(data).cast("B")  # type: ignore[arg-type]
        if self._raw is not None and self.fault is None:
            try:
                sent = self._raw.write(view)
                return len(view) if sent is None else sent
            except OSError as fault:
                self.fault = fault
        return len(view)

    def writable(self) -> bool:
        """Always."""
        return True

    def isatty(self) -> bool:
        """Whether it leads to a screen."""
        return self._raw is not None and self._raw.isatty()

    def fileno(self) -> int:
        """The system's number of the stream."""
        if self._raw is None:
            raise io.UnsupportedOperation("fileno")
        return self._raw.fileno()

    @property
    def lost(self) -> str:
        """Why output was lost that somebody still wants, or an empty text."""
        return "" if self.fault is None or self.fault.errno in _GONE else self.fault.strerror or str(self.fault)


def open_missing() -> None:
    """Let standard input, output and errors lead somewhere, or the next file that is opened would take their number."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


def make_steady() -> tuple[Outlet, Outlet]:
    """Put `Outlet` under standard output and standard errors of this process."""
    codecs.register_error(_ERRORS, nearest)
    sys.stdout, out = _steady(sys.stdout, interactive=False)
    sys.stderr, err = _steady(sys.stderr, interactive=True)
    sys.__stdout__, sys.__stderr__ = sys.stdout, sys.stderr  # type: ignore[misc, assignment]
    return out, err


def _steady(stream: TextIO | None, *, interactive: bool) -> tuple[TextIO, Outlet]:
    encoding, raw = "utf-8", None
    if isinstance(stream, io.TextIOWrapper):
        encoding = stream.encoding
        interactive = interactive or stream.line_buffering
        buffer = stream.detach()
        raw = buffer.detach() if isinstance(buffer, io.BufferedWriter) else buffer
    outlet = Outlet(raw)
    text = io.TextIOWrapper(
        io.BufferedWriter(outlet), encoding=encoding, errors=_ERRORS, line_buffering=interactive, newline=None
    )
    return text, outlet
