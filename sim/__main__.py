"""The `bounceplan` command."""

from __future__ import annotations

import os
import signal
import sys

from sim.machine import stopping

STOPPED = "bounceplan: stopped; what was finished stays, nothing half-written was left"


def main(arguments: list[str] | None = None) -> int:
    """Run the command line; a fault a person can put right is told in one sentence, with exit code 2.

    With `arguments` left out this is the process of a command: it takes signals and looks after its streams.
    """
    if arguments is not None:
        return _reported(arguments)
    try:
        stopping.install()
        from sim.machine import streams
        from sim.machine.processes import begin_command, start_with_one_thread

        begin_command()
        start_with_one_thread()
        os.environ["PYTHONSAFEPATH"] = "1"  # no process of ours takes a file in the person's folder for a library

        streams.open_missing()
        out, _ = streams.make_steady()
        try:
            code = _reported(sys.argv[1:])
        except SystemExit as end:  # words on how to use it were printed
            code = end.code if isinstance(end.code, int) else 0
        sys.stdout.flush()
        if out.lost:
            print(f"bounceplan: what was printed could not be kept ({out.lost}); make room.", file=sys.stderr)  # noqa: T201
            code = code or 2
        stopping.finished()
    except (KeyboardInterrupt, Exception) as fault:  # outside of the work itself, where there is nothing to clear up
        if stopping.asked() is None and not isinstance(fault, KeyboardInterrupt):
            raise  # else what is loaded made something else of an interrupt
        stopping.finished()
        print(STOPPED, file=sys.stderr)  # noqa: T201
        code = _stopped_code()
    return code


def _reported(arguments: list[str]) -> int:
    """Run the command line and say in one line what went wrong."""
    try:
        from sim.cli import run
        from sim.errors import BounceplanError

        try:
            return run(arguments)
        except BounceplanError as fault:
            stopping.go_on_unless_asked()
            print(f"bounceplan: {fault}", file=sys.stderr)  # noqa: T201
            return 2
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print(STOPPED, file=sys.stderr)  # noqa: T201
        return _stopped_code()
    except Exception:
        # a library that is interrupted while it is loaded makes something else of it
        if stopping.asked() is None:
            raise
        print(STOPPED, file=sys.stderr)  # noqa: T201
        return _stopped_code()


def _stopped_code() -> int:
    """The exit code of a command that was stopped, as shells count it: 128 and the number of the signal."""
    # An interrupt inside an exec of text makes Python end itself by SIGINT, whatever the code; one more exec undoes it.
    exec("")
    return 128 + (stopping.asked() or signal.SIGINT)


if __name__ == "__main__":
    sys.exit(main())
