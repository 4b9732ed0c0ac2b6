"""The page: one text that asks for nothing but its socket, put together of small files and the picture that turns."""

from __future__ import annotations

from functools import cache
from typing import Final

from sim.showing.page import LEVEL_COLOURS, LOWEST_DB, STEP_DB, data_script
from sim.showing.page_files import filled, page_file, viewer_scripts
from sim.showing.scene_data import FLOOR_DB, STEPS_PER_DB
from sim.studies.view.doors import SOCKET_PATH
from sim.studies.view.shown import ROWS_EACH
from sim.studies.view.snapshot import TIME_FROM_MS, TIME_STEP_MS

SCRIPTS: Final = (
    "link.js",
    "message.js",
    "plane.js",
    "holds.js",
    "curve.js",
    "list.js",
    "fields.js",
    "space.js",
    "over_time.js",
    "why.js",
    "panels.js",
    "compared.js",
    "saving.js",
    "going_on.js",
    "view.js",
)


def page_text(_: str, nonce: str) -> str:
    """The page for a host, its script marked with a nonce."""
    return filled(_page(), {"@nonce@": nonce})


@cache
def _page() -> str:
    """The page with all but the nonce, which differs each time."""
    script = "\n".join([viewer_scripts(), *(_source(name) for name in SCRIPTS)])
    data = {
        "colours": LEVEL_COLOURS,
        "lowest": LOWEST_DB,
        "step": STEP_DB,
        "floor": FLOOR_DB,
        "stepsPerDb": STEPS_PER_DB,
        "socket": SOCKET_PATH,
        "timeFrom": TIME_FROM_MS,
        "timeStep": TIME_STEP_MS,
        "rowsEach": ROWS_EACH,
    }
    return filled(
        _source("view.html"),
        {
            "@style@": _source("base.css") + _source("view.css") + _source("asked.css"),
            "@data@": data_script("view-data", data),
            "@script@": f'"use strict";\n(() => {{\n{script}\n}})();',
            "@nonce@": "%%@nonce@%%",
        },
    )


def _source(name: str) -> str:
    return page_file("sim.studies.view", "page", name)
