"""The results folder: made whole beside its place and moved into it, or not at all."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Final

from sim.errors import OutputError
from sim.machine.claims import claimed, is_hidden_work
from sim.machine.locks import refuse_while_worked_in
from sim.machine.stopping import go_on_unless_asked, held
from sim.machine.whole_files import refuse_name, write_whole
from sim.showing.file_meanings import TRACED

CONTENTS: Final = "contents.txt"
FIRST_LINE: Final = "Files of these results (bounceplan):"
WITHOUT_CONTENTS: Final = frozenset({*TRACED, "README.txt"})
"""What belongs to results whose list of contents was lost."""
DISK_FAULTS: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EIO, errno.EROFS, errno.EFBIG})


@contextmanager
def results_folder(out: Path, overwrite: bool, reads: Sequence[Path] = ()) -> Iterator[Path]:
    """Give a folder to write into, which takes the place of `out` when all went well.

    Whatever ends the work early, `out` stays as it was.  With `overwrite` an older results folder is replaced; files
    in it that bounceplan did not write are kept.  One process at a time has `out`.

    Parameters
    ----------
    out
        Folder to make.  Missing parent folders are made, and taken away again when the work fails.
    overwrite
        Whether older results may be replaced.
    reads
        Scenes that the work reads, which must not lie in what is replaced.

    Raises
    ------
    OutputError
        If `out` exists (and is not to be replaced, or is no results folder), cannot be made, another process is
        writing it, or the disk is full.
    """
    place = refuse_folder(out, overwrite, reads)
    missing = [parent for parent in place.parents if not parent.exists()]
    try:
        with ExitStack() as stack:
            try:
                place.parent.mkdir(parents=True, exist_ok=True)
                claim = stack.enter_context(claimed(place, out))
                part = claim.part
                part.mkdir()
                stack.enter_context(reported_in_one_sentence(out, part))
            except OSError as fault:
                raise OutputError(
                    f"{out}: no folder can be made here ({fault.strerror}); choose another place with -o."
                ) from None
            refuse_folder(
                out, overwrite, reads
            )  # another process may have made it meanwhile, or a killed one been mended
            yield part
            go_on_unless_asked()
            add_to_contents(part, (path for path in part.rglob("*") if path.is_file()))
            if place.exists():
                _keep_foreign_files(place, part)
            _to_the_disk(part)
            try:
                claim.put_in_place()
            except OSError as fault:
                raise OutputError(
                    f"{out}: the results cannot be moved there ({fault.strerror}); choose another place with -o."
                ) from None
    finally:
        for parent in missing:  # nearest first; one that holds results stays
            with suppress(OSError):
                parent.rmdir()


class Additions:
    """Files on their way into a folder that is there: made beside it, and moved in when they are whole."""

    def __init__(self, folder: Path, place: Path, part: Path) -> None:
        self._folder, self._place, self._part = folder, place, part

    def beside(self, folder: Path) -> Path:
        """Where to make what is meant for this folder, which is the one added to or lies in it."""
        aside = self._part / folder.resolve().relative_to(self._place)
        aside.mkdir(parents=True, exist_ok=True)
        return aside

    def move_in(self) -> None:
        """Move in what was made; before anything is seen it is noted as belonging to the results there.

        Raises
        ------
        OutputError
            If it cannot be moved.
        KeyboardInterrupt
            If there was a request to stop that nobody heeded yet.
        """
        go_on_unless_asked()
        whole = [path for path in sorted(self._part.rglob("*")) if path.is_file()]
        moves = {path: self._place / path.relative_to(self._part) for path in whole}
        with reported_in_one_sentence(self._folder, self._part), held():
            if (self._place / CONTENTS).is_file():
                listing = self._part.with_name(CONTENTS)  # beside the folder too, so that a kill leaves nothing in it
                listing.write_bytes(_listing(self._place, moves.values()))
                listing.replace(self._place / CONTENTS)
            for path, target in moves.items():
                path.replace(target)


@contextmanager
def adding_to(folder: Path) -> Iterator[Additions]:
    """Add files to a folder that is there, as the one process that writes to it.

    Raises
    ------
    OutputError
        If another process is writing there, or nothing can be written.
    """
    place = refuse_name(folder)
    with reported_in_one_sentence(folder, place), claimed(place, folder) as claim:
        claim.part.mkdir()
        yield Additions(folder, place, claim.part)


@contextmanager
def reported_in_one_sentence(out: Path, part: Path) -> Iterator[None]:
    """Make a sentence of what the disk refuses; other faults of the system keep their traceback.

    Raises
    ------
    OutputError
        If the disk is full, or nothing can be written to `part`.
    """
    try:
        yield
    except OSError as fault:
        if fault.errno not in DISK_FAULTS and not str(fault.filename or "").startswith(str(part)):
            raise
        raise OutputError(
            f"{out}: the disk does not take the results ({fault.strerror}); make room or choose another place with -o."
        ) from None


def add_to_contents(folder: Path, paths: Iterable[Path]) -> None:
    """Note files inside a results folder as belonging to it, so that they go when it is replaced.

    Raises
    ------
    OutputError
        If the list cannot be written.
    """
    write_whole(folder / CONTENTS, _listing(folder, paths), "the list of contents")


def _listing(folder: Path, paths: Iterable[Path]) -> bytes:
    listed = {path.relative_to(folder).as_posix() for path in paths} | (_contents(folder) or set()) | {CONTENTS}
    return ("\n".join([FIRST_LINE, *sorted(listed)]) + "\n").encode("utf-8", "surrogateescape")


def refuse_folder(out: Path, overwrite: bool, reads: Sequence[Path] = ()) -> Path:
    """Return the place of a folder of results after refusing one that cannot be; arguments as in `results_folder`.

    Raises
    ------
    OutputError
        If results cannot go there.
    """
    place = refuse_name(out)
    try:
        _refuse(out, place, overwrite, reads)
    except OSError as fault:
        raise OutputError(f"{out}: this cannot be looked at ({fault.strerror}); choose another with -o.") from None
    return place


def _refuse(out: Path, place: Path, overwrite: bool, reads: Sequence[Path]) -> None:
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
    for scene in reads:
        if scene.exists() and scene.resolve().is_relative_to(place):
            raise OutputError(f"{out} holds {scene}, which would be lost; choose another with -o.")
    refuse_while_worked_in(place)
    if any(place.iterdir()) and not _is_ours(place):
        raise OutputError(
            f"{out} holds files but no results of bounceplan, so it is not replaced; choose another with -o."
        )
    if not os.access(place, os.W_OK):
        raise OutputError(f"{out} may only be read, so it is not replaced; choose another with -o.")


def _is_ours(folder: Path) -> bool:
    if _contents(folder) is not None:
        return True
    from sim.showing.archive.results import is_results

    return is_results(folder / "results.h5")


def _contents(folder: Path) -> set[str] | None:
    """Names that belong to a results folder, or None if it does not say."""
    try:
        lines = (folder / CONTENTS).read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return None
    return set(lines[1:]) if lines[:1] == [FIRST_LINE] else None


def _keep_foreign_files(old: Path, new: Path) -> None:
    """Copy what others put into the old folder; nothing of theirs is lost if the rest is cut short."""
    ours = _contents(old) or WITHOUT_CONTENTS
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old)
        if name.as_posix() in ours or (path.is_dir() and not path.is_symlink()):
            continue
        if any(is_hidden_work(part) for part in name.parts):  # of a run that was killed
            continue
        kept = new / name
        while os.path.lexists(kept):
            kept = kept.with_name(f"{kept.stem} (kept){kept.suffix}")
        kept.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(path, kept, follow_symlinks=False)


def _to_the_disk(folder: Path) -> None:
    """See everything in a folder onto the disk: some disks say only then that they are full."""
    for path in folder.rglob("*"):
        if path.is_file() and not path.is_symlink():
            with path.open("rb+") as file:
                os.fsync(file.fileno())
