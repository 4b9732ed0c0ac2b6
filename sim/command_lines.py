"""Lines of a command: those a person types after us, and those that start a Python of our own."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

BEGIN = "import sys; sys.path.insert(0, {place!r}); from {module} import main; sys.exit(main(sys.argv[1:]))"


def own_python(module: str, *arguments: str) -> list[str]:
    """Return the command that runs `main` of a module of this package, with arguments, in a process of its own.

    The package is found where this process found it, and nothing in the folder a person stands in is taken for it or
    for a library: a file there may be called sim.py or numpy.py.
    """
    place = str(Path(__file__).resolve().parents[1])
    return [sys.executable, "-P", "-c", BEGIN.format(place=place, module=module), *arguments]


def typed(*parts: object) -> str:
    """Return parts of a command as one types them: what holds a space or another special character is quoted."""
    words = [str(part) for part in parts]
    return subprocess.list2cmdline(words) if os.name == "nt" else shlex.join(words)
