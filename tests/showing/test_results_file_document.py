from __future__ import annotations

import re
from pathlib import Path

import h5py

from sim.responses.records import Results
from sim.showing.archive.results import LAYOUT, write_results

DOCUMENT = Path(__file__).parents[2] / "docs" / "reference" / "results-file.md"


def test_the_document_lists_every_group_and_dataset_and_attribute(traced_attic: Results, tmp_path: Path) -> None:
    path = tmp_path / "results.h5"
    write_results(traced_attic, path)
    found: list[str] = []
    with h5py.File(path) as file:
        file.visit(found.append)
        attributes = set(file.attrs)
    written = {re.sub(r"/\d{4}(?=/|$)", "/NNNN", name) for name in found}
    text = DOCUMENT.read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `([^`]+)` \|", text.partition("## Groups and datasets")[2], flags=re.M))
    assert listed == written
    table = text.partition("## Attributes of the file")[2].partition("## Groups")[0]
    assert set(re.findall(r"`(\w+)`", table)) == attributes
    assert f"layout {LAYOUT}" in text
