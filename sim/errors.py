"""Errors that people can put right, and text made fit for terminals, tables and drawings.

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

import re
from typing import Final


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


# Text of unknown origin made fit for a screen: names and files may hold characters that move a terminal's cursor.
#
# Control characters (Unicode category Cc), line and paragraph separators (Zl, Zp), halves of surrogate pairs (Cs) and
# the marks that turn the direction of writing around (Unicode Standard Annex 9, the embeddings, overrides and
# isolates) are shown as what they are, `\x1b`, instead of being obeyed.

UNPRINTABLE: Final = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
"""What a terminal, a table or a drawing may take for a command, or cannot write at all."""
_LAYOUT: Final = "\n\t"
LONGEST_SENTENCE: Final = 2000
"""Nobody reads more of one complaint; what is longer quotes a damaged file."""


def printable(text: str) -> str:
    """Text with line breaks and tabs as they are and every other control character spelt out."""
    return UNPRINTABLE.sub(lambda found: found[0] if found[0] in _LAYOUT else _spelt(found[0]), text)


def one_line(text: str) -> str:
    """Text on one line: breaks and tabs become blanks, other control characters are spelt out, and it has an end."""
    flat = re.sub(r"[\r\n\t\u2028\u2029]+", " ", text)
    short = flat if len(flat) <= LONGEST_SENTENCE else f"{flat[: LONGEST_SENTENCE - 600]} ... {flat[-590:]}"
    return UNPRINTABLE.sub(lambda found: _spelt(found[0]), short)


def _spelt(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}"
