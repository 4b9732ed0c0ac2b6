"""What can go wrong because of what a person gave us, each told in one sentence.

    BounceplanError               anything a person can put right; the command ends with exit code 2
        SceneError                a scene file: unreadable, unknown key, impossible value
        MeshError                 a mesh: missing, open, flipped, degenerate, wrong scale
        OutputError               a results folder that cannot be written, or is already there
        PictureError              pictures cannot be drawn on this machine; the numbers are still good

A message says where (file and key), what was found, and what would work.  Faults of the program itself are
never turned into one of these: they keep their traceback.  Whatever a file or a name brought into a message is made
fit for a screen here, once for all of them.
"""

from __future__ import annotations

from sim.printable import one_line


class BounceplanError(Exception):
    """Something a person can put right."""

    def __init__(self, words: str) -> None:
        super().__init__(one_line(words))


class SceneError(BounceplanError):
    """A scene that cannot be used, with the key that is at fault."""

    def __init__(self, where: str, found: str, remedy: str) -> None:
        self.where = where
        self.found = found
        self.remedy = remedy
        super().__init__(f"{where}: {found}; {remedy}.")


class MeshError(SceneError):
    """A mesh that cannot be used as a room or a piece of furniture."""


class OutputError(BounceplanError):
    """A results folder or file that cannot be written."""


class PictureError(BounceplanError):
    """Pictures cannot be drawn here; numbers are not affected."""
