"""The `bounceplan` command."""

from __future__ import annotations

import signal
import sys
from types import FrameType

from .threads import start_with_one_thread


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; a fault a person can put right is told in one sentence, with exit code 2."""
    if arguments is None:
        start_with_one_thread()
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


def _stop(_: int, __: FrameType | None) -> None:
    """Treat a request to end like Ctrl-C, so that half-written folders are removed."""
    raise KeyboardInterrupt


if __name__ == "__main__":
    sys.exit(main())
