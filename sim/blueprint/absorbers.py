"""One absorber by itself, asked for in words."""

from __future__ import annotations

from ..acoustics.absorbed import AbsorberTable, absorber_table
from ..acoustics.air import Air
from ..errors import SceneError
from .build_ups import build_up_in_words


def absorber(words: str, *, thirds: bool = False) -> AbsorberTable:
    """What an absorber returns and takes, by frequency and angle: `absorber("100 mm wool, 100 mm gap")`.

    `words` are a name of the library, or layers from the room to the wall.  In octaves, or third-octaves with `thirds`;
    in air of 20 degrees Celsius.

    Raises
    ------
    SceneError
        If the words are not understood.
    """
    try:
        build_up = build_up_in_words(words)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError("absorber", found, remedy.rstrip(".") or "name a library build-up or its layers") from None
    return absorber_table(build_up, Air(), thirds=thirds)
