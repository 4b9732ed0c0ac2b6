"""The text of a scene file: how large it may be, how it is written, and that reading it takes no time worth a word.

What a person did not write is told apart before the parser sees it, because the parser's own time grows with the square
of the parts of a dotted key.
"""

from __future__ import annotations

import codecs
import re
import stat
from pathlib import Path
from typing import Final

from ..errors import SceneError

LARGEST_FILE_BYTES: Final = 1_000_000
"""No scene that a person wrote is larger (common practice, no source)."""
MOST_PARTS: Final = 16
"""The deepest key of a scene has five parts."""
_PART: Final = r"(?:[A-Za-z0-9_-]+|\"[^\"\n]*\"|'[^'\n]*')"
_DEEP: Final = re.compile(rf"(?:^|[\[{{,])[ \t]*(?:{_PART}[ \t]*\.[ \t]*){{{MOST_PARTS}}}", re.MULTILINE)
_OTHER_WAYS: Final = (
    (codecs.BOM_UTF32_LE, "UTF-32"), (codecs.BOM_UTF32_BE, "UTF-32"),
    (codecs.BOM_UTF16_LE, "UTF-16"), (codecs.BOM_UTF16_BE, "UTF-16"),
)  # fmt: skip
_AS_UTF_8: Final = "save the file as UTF-8 in a text editor"


def scene_text(file: Path) -> str:
    """Read the text of a file.

    Raises
    ------
    SceneError
        If it is no file, larger than any scene, or not UTF-8 text.
    """
    try:
        known = file.stat()
        if not stat.S_ISREG(known.st_mode):
            raise SceneError(str(file), "it is no file", "name a scene file or its folder")
        if known.st_size > LARGEST_FILE_BYTES:
            raise SceneError(
                str(file), f"it has {known.st_size:,} bytes", "name the scene file, not a mesh or a recording"
            )
        raw = file.read_bytes()
    except OSError as fault:
        raise SceneError(str(file), f"it cannot be read ({fault.strerror})", "check who may read the file") from None
    way = next((name for mark, name in _OTHER_WAYS if raw.startswith(mark)), None)
    if way is not None:
        raise SceneError(str(file), f"it is {way} text", _AS_UTF_8)
    if b"\0" in raw:
        line = raw.count(b"\n", 0, raw.index(b"\0")) + 1
        raise SceneError(f"{file}, line {line}", "it holds a zero byte, so it is no text", _AS_UTF_8)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise SceneError(str(file), f"byte {fault.start} is not UTF-8 text", _AS_UTF_8) from None


def refuse_deep_keys(text: str, file: str) -> None:
    """Refuse keys of so many dotted parts that no person can have written them.

    Raises SceneError with the line of the first one.
    """
    found = _DEEP.search(text)
    if found is not None:
        line = text.count("\n", 0, found.end()) + 1
        raise SceneError(
            f"{file}, line {line}", f"a key in it has more than {MOST_PARTS} parts", "check that this is a scene file"
        )
