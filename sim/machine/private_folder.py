"""Folders of ours for what can be made again, into which nobody else may write: kept traces, live sessions."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from sim.machine.cache_home import cache_home, why_distrusted


def private_folder(environment: Mapping[str, str], name: str) -> Path | None:
    """Folder of this name that nobody else may write to, made if need be; None where there can be none."""
    try:
        folder = cache_home(environment, sys.platform) / name
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        found = folder.lstat()
    except (OSError, RuntimeError):  # RuntimeError: no home directory is known
        return None
    us = os.geteuid() if hasattr(os, "geteuid") else None
    return None if why_distrusted(found.st_mode, found.st_uid, us) else folder
