"""The `bounceplan` command."""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys
from types import FrameType


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; a fault a person can put right is told in one sentence, with exit code 2."""
    if arguments is None:
        collect_seldom()
        os.environ["PYTHONSAFEPATH"] = "1"  # no process of ours takes a file in the person's folder for a library
        atexit.register(end_quietly)
    from .cli import run
    from .errors import BounceplanError

    signal.signal(signal.SIGTERM, _stop)
    try:
        return run(sys.argv[1:] if arguments is None else arguments)
    except BounceplanError as fault:
        print(f"bounceplan: {fault}", file=sys.stderr)  # noqa: T201
        return 2
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print("bounceplan: stopped; nothing half-written was left", file=sys.stderr)  # noqa: T201
        return 130


def collect_seldom() -> None:
    """Have Python look for rings of objects that nothing refers to seldom, and not at all when everything ends.

    Imports and kernels make hundreds of thousands of objects that stay; to look through them again and again, and once
    more at the end, was half a second of every command.  What is in no ring goes at once all the same.  Only for a
    process of our own: who imports the package keeps their settings.
    """
    gc.set_threshold(1_000_000, 10, 10)
    atexit.register(gc.freeze)


def end_quietly() -> None:
    """Have what was not read yet go nowhere when the reader has gone, as in `bounceplan schema | head -1`.

    Python would flush it as its last act and complain.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _stop(_: int, __: FrameType | None) -> None:
    """Treat a request to end like Ctrl-C, so that half-written folders are removed."""
    raise KeyboardInterrupt


if __name__ == "__main__":
    sys.exit(main())
