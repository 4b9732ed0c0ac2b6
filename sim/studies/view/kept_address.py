"""The port and the word of a scene's last session, so that a page which outlived its program is found by the next one.

They lie in the private folder for what can be made again, in a file that its owner alone may read, for an hour after
the session last gave a sign of life.  A session that was ended by Ctrl-C is over: its word is forgotten at once.  A
port that something else has taken meanwhile makes the word worth nothing: there is a new one then, as for every
session that nothing is kept of.  Words of addresses that others in the network may open are never kept.

Why this opens no door: whoever can read the file can read the scene and the memory of the program too; and a page
tells its word only to a program that has shown first that it knows it (`sim.studies.view.doors`), so nobody learns it
by waiting at the port between two sessions.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import socket
import stat
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from sim.blueprint.reader import SceneFile
from sim.errors import OutputError
from sim.machine.private_folder import private_folder
from sim.machine.whole_files import whole_path

GOOD_FOR_S: Final = 3600.0
"""So long after its last sign of life a session is taken up again (our choice)."""
SIGN_S: Final = 60.0
"""A session gives a sign of life this often."""
MOST_BYTES: Final = 400
LEAST_PORT, MOST_PORT = 1024, 65535
_TOKEN: Final = re.compile(r"[\w-]{32}", re.ASCII)


class KeptAddress:
    """What is kept of the last session of one scene; where nothing can be kept, nothing is."""

    def __init__(self, scene: SceneFile, environment: Mapping[str, str] | None = None) -> None:
        folder = private_folder(os.environ if environment is None else environment, "sessions")
        about = f"{scene.path.resolve()}\n{scene.blueprint.plays}"
        name = hashlib.sha256(about.encode("utf-8", "surrogateescape")).hexdigest()[:32]
        self.path: Path | None = None if folder is None else folder / f"{name}.json"
        self._signed = 0.0

    def found(self, host: str, wanted: int = 0) -> tuple[int, str] | None:
        """Port and token of the last session, where they are still good and the port is free; else None.

        `wanted` is the port that was asked for, 0 for any.
        """
        kept = self._read()
        if kept is None or (wanted and kept[0] != wanted) or not _is_free(host, kept[0]):
            return None
        return kept

    def keep(self, port: int, token: str) -> None:
        """Keep port and token for the next session of the scene, in the place of what was kept before."""
        if self.path is None or not LEAST_PORT <= port <= MOST_PORT:
            return
        self._clear_old(self.path.parent)
        with suppress(OSError, OutputError), whole_path(self.path, "the session") as part:
            part.touch(mode=0o600, exist_ok=False)
            part.write_text(json.dumps({"port": port, "token": token}), encoding="ascii")
        self._signed = time.monotonic()

    def sign(self) -> None:
        """Give a sign of life, if it is time for one."""
        if self.path is not None and time.monotonic() - self._signed > SIGN_S:
            self._signed = time.monotonic()
            with suppress(OSError):
                os.utime(self.path)

    def forget(self, token: str) -> None:
        """Keep this token no longer; that of a later session of the scene stays."""
        kept = self._read()
        if self.path is not None and kept is not None and kept[1] == token:
            with suppress(OSError):
                self.path.unlink()

    def _read(self) -> tuple[int, str] | None:
        """What is kept; None for what is too old, was put there by others, may be read by others, or makes no sense."""
        if self.path is None:
            return None
        try:
            found = self.path.lstat()
            if not stat.S_ISREG(found.st_mode) or found.st_size > MOST_BYTES or not _is_ours(found):
                return None
            if not -SIGN_S <= time.time() - found.st_mtime <= GOOD_FOR_S:
                return None
            kept = json.loads(self.path.read_text(encoding="ascii"))
        except (OSError, ValueError, RecursionError):
            return None
        port, token = (kept.get("port"), kept.get("token")) if isinstance(kept, dict) else (None, None)
        if isinstance(port, bool) or not isinstance(port, int) or not LEAST_PORT <= port <= MOST_PORT:
            return None
        return (port, token) if isinstance(token, str) and _TOKEN.fullmatch(token) else None

    @staticmethod
    def _clear_old(folder: Path) -> None:
        """Let go of sessions of any scene that are no longer good."""
        limit = time.time() - GOOD_FOR_S
        with suppress(OSError):
            for one in folder.glob("*.json"):
                if one.lstat().st_mtime < limit:
                    one.unlink(missing_ok=True)


def _is_ours(found: os.stat_result) -> bool:
    """Whether a file belongs to this user, and nobody else may read or write it."""
    if not hasattr(os, "geteuid"):  # no such numbers: a profile is its person's alone
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & 0o077


def _is_free(host: str, port: int) -> bool:
    try:
        socket.create_server((host, port)).close()
    except OSError:
        return False
    return True
