"""Scenes as such: begin one, check one, and what a scene file may hold."""

from __future__ import annotations

import argparse

from sim.machine.processes import typed
from sim.errors import PictureError
from sim.showing.terminal import compile_first, progress, refuse_missing_folder, say, say_answer


def new_command(chosen: argparse.Namespace) -> int:
    """Write a commented scene and its plan."""
    from sim.pictures import draw_plan_of
    from sim.studies.check.checked import check
    from sim.studies.check.new_scene import copy_demo_room
    from sim.studies.check.new_scene import new

    if chosen.demo is not None:
        scene_path = copy_demo_room(chosen.demo, chosen.folder)
    else:
        scene_path = new(chosen.folder, chosen.box, units=chosen.units, title=chosen.title).path
    compile_first("rooms")
    check(scene_path)
    say(f"wrote {scene_path}")
    picture = chosen.folder / "plan.png"
    trouble = draw_plan_of(scene_path, picture, progress)
    say(f"no plan was drawn: {trouble}" if trouble else f"wrote {picture}: is this your room?")
    say(f"next: put your own tape measurements in, then: {typed('bounceplan', 'check', chosen.folder)}")
    return 0


def check_command(chosen: argparse.Namespace) -> int:
    """Read a scene and print its set-up sheet."""
    from sim.pictures import draw_plan_of
    from sim.studies.check.checked import check

    refuse_missing_folder(chosen.plan)
    compile_first("rooms")
    say_answer(check(chosen.scene))
    if chosen.plan is not None:
        trouble = draw_plan_of(chosen.scene, chosen.plan, progress)
        if trouble:
            raise PictureError(trouble)
        say(f"wrote {chosen.plan}")
    return 0


def schema_command(_: argparse.Namespace) -> int:
    """Print the JSON Schema of scene files."""
    from sim.blueprint.writing import json_schema_text

    say(json_schema_text().rstrip())
    return 0
