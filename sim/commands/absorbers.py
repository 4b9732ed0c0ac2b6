"""One absorber by itself."""

from __future__ import annotations

import argparse

from ..errors import PictureError
from .screen import progress, refuse_missing_folder, say, say_answer


def absorber_command(chosen: argparse.Namespace) -> int:
    """Print what a build-up returns, and draw it if a picture is asked for."""
    from ..blueprint.absorbers import absorber
    from ..pictures import draw_absorber_of

    refuse_missing_folder(chosen.picture)
    say_answer(absorber(chosen.build_up))
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0
