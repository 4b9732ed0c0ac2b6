"""The results folder: made whole beside its place and renamed into it, or not at all."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from ..errors import OutputError

CONTENTS: Final = "contents.txt"
FIRST_LINE: Final = "Files of these results (bounceplan):"
WITHOUT_CONTENTS: Final = frozenset(
    {"results.h5", "arrivals.csv", "reflection_points.csv", "notches.csv", "ear_response.csv", "README.txt"}
)
"""What belongs to results whose list of contents was lost."""
DISK_FAULTS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EROFS, errno.EFBIG})


@contextmanager
def results_folder(out: Path, overwrite: bool) -> Iterator[Path]:
    """Give a folder to write into, which takes the place of `out` when all went well.

    Whatever ends the work early, `out` stays as it was.  With `overwrite` an older results folder is replaced; files
    in it that bounceplan did not write are kept.

    Raises
    ------
    OutputError
        If `out` exists (and is not to be replaced, or is no results folder), cannot be made, or the disk is full.
        Missing parent folders are made, and taken away again when the work fails.
    """
    place = out.resolve()
    _refuse(out, place, overwrite)
    missing = [parent for parent in place.parents if not parent.exists()]
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".part", dir=place.parent))
    except OSError as fault:
        raise OutputError(
            f"{out}: no folder can be made here ({fault.strerror}); choose another place with -o."
        ) from None
    try:
        part.chmod(0o777 & ~_umask())
        yield part
        add_to_contents(part, (path for path in part.rglob("*") if path.is_file()))
        _put_in_place(part, place)
    except OSError as fault:
        if fault.errno not in DISK_FAULTS:
            raise
        raise OutputError(
            f"{out}: the disk does not take the results ({fault.strerror}); make room or choose another place with -o."
        ) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
        for parent in missing:  # nearest first; one that holds results stays
            with suppress(OSError):
                parent.rmdir()


def add_to_contents(folder: Path, paths: Iterable[Path]) -> None:
    """Note files inside a results folder as belonging to it, so that they go when it is replaced."""
    listed = {path.relative_to(folder).as_posix() for path in paths} | (_contents(folder) or set()) | {CONTENTS}
    (folder / CONTENTS).write_text("\n".join([FIRST_LINE, *sorted(listed)]) + "\n", encoding="utf-8")


def _refuse(out: Path, place: Path, overwrite: bool) -> None:
    in_the_way = next((parent for parent in place.parents if parent.exists() and not parent.is_dir()), None)
    if in_the_way is not None:
        raise OutputError(f"{out}: {in_the_way} is a file, not a folder; choose another place with -o.")
    if not place.exists():
        return
    if not place.is_dir():
        raise OutputError(f"{out}: this is a file; choose another name with -o.")
    if not overwrite:
        raise OutputError(f"{out} exists; choose another with -o, or add --replace.")
    if Path.cwd().is_relative_to(place):
        raise OutputError(f"{out} is the folder you are working in; go up, or choose another with -o.")
    if any(place.iterdir()) and not _is_ours(place):
        raise OutputError(
            f"{out} holds files but no results of bounceplan, so it is not replaced; choose another with -o."
        )


def _is_ours(folder: Path) -> bool:
    if _contents(folder) is not None:
        return True
    from .archive import is_results

    return is_results(folder / "results.h5")


def _contents(folder: Path) -> set[str] | None:
    """Names that belong to a results folder, or None if it does not say."""
    try:
        lines = (folder / CONTENTS).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return None
    return set(lines[1:]) if lines[:1] == [FIRST_LINE] else None


def _put_in_place(part: Path, place: Path) -> None:
    if not place.exists():
        part.rename(place)
        return
    _keep_foreign_files(place, part)
    old = Path(tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".old", dir=place.parent))
    place.replace(old)  # an empty folder may be replaced by a folder
    try:
        part.rename(place)
    except BaseException:
        old.replace(place)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _keep_foreign_files(old: Path, new: Path) -> None:
    """Copy what others put into the old folder; nothing of theirs is lost if the rest is cut short."""
    ours = _contents(old) or WITHOUT_CONTENTS
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        if name.as_posix() in ours or (path.is_dir() and not path.is_symlink()):
            continue
        kept = new / name
        while kept.exists():
            kept = kept.with_name(f"{kept.stem} (kept){kept.suffix}")
        kept.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, kept, follow_symlinks=False)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
