"""Where files go that can be made again, and whether anybody else could have put something there."""

from __future__ import annotations

import stat
from collections.abc import Mapping
from pathlib import Path


def cache_home(environment: Mapping[str, str], platform: str) -> Path:
    """Folder for what can be made again: $XDG_CACHE_HOME, or the place the system has for it.

    A relative $XDG_CACHE_HOME is ignored, as the XDG Base Directory Specification asks.
    """
    chosen = environment.get("XDG_CACHE_HOME", "")
    if chosen and Path(chosen).is_absolute():
        return Path(chosen) / "bounceplan"
    if platform == "win32":
        local = environment.get("LOCALAPPDATA", "")
        return (Path(local) if local else Path.home() / "AppData" / "Local") / "bounceplan" / "cache"
    if platform == "darwin":
        return Path.home() / "Library" / "Caches" / "bounceplan"
    return Path.home() / ".cache" / "bounceplan"


def why_distrusted(mode: int, owner: int, us: int | None) -> str:
    """Why others may have put something into what has this mode and owner, as the end of a sentence; or nothing.

    us: number of this process's user; None where the system has no such numbers, and a profile is its person's alone.
    """
    if not stat.S_ISDIR(mode):
        return "is no folder (or a link to one)"
    if us is None:
        return ""
    if owner not in (us, 0):
        return "belongs to somebody else"
    return "can be written by others" if mode & 0o022 else ""
