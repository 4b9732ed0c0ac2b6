"""One absorber by itself."""

from __future__ import annotations

import argparse

from ..errors import PictureError
from .screen import progress, refuse_missing_folder, say


def absorber_command(chosen: argparse.Namespace) -> int:
    """Print what a build-up returns, and draw it if a picture is asked for."""
    from ..acoustics.air import Air
    from ..blueprint.build_ups import build_up_in_words
    from ..errors import SceneError
    from ..pictures import draw_absorber_of
    from ..writers.absorber_text import absorber_lines

    refuse_missing_folder(chosen.picture)
    try:
        build_up = build_up_in_words(chosen.build_up)
    except ValueError as fault:
        found, _, remedy = str(fault).partition("; ")
        raise SceneError("absorber", found, remedy.rstrip(".") or "name a library build-up or its layers") from None
    for line in absorber_lines(build_up, Air()):
        say(line)
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0
