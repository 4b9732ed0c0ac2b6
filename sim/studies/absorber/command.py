"""One absorber by itself."""

from __future__ import annotations

import argparse

from sim.errors import PictureError
from sim.showing.terminal import progress, refuse_missing_folder, say, say_answer


def absorber_command(chosen: argparse.Namespace) -> int:
    """Print what a build-up returns, and draw it if a picture is asked for."""
    from sim.studies.absorber.table import absorber
    from sim.pictures import draw_absorber_of

    refuse_missing_folder(chosen.picture)
    say_answer(absorber(chosen.build_up))
    if chosen.picture is not None:
        trouble = draw_absorber_of(chosen.build_up, chosen.picture, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.picture}")
    return 0
