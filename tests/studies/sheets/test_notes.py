from __future__ import annotations

import datetime

from sim.studies.sheets.layout import book_of
from sim.studies.sheets.records import Remarks
from tests.studies.sheets.treated_rooms import lopsided

REMARKS = Remarks(
    tuple(
        f"Assumption number {n} is a sentence of some length that needs a line or even two of them." for n in range(60)
    ),
    ("Bass.",),
    ("Mind your head.",),
)


def test_the_first_sheets_list_all_others_with_their_numbers() -> None:
    block, sheets = book_of(lopsided(), "a4", datetime.date(2025, 3, 1), REMARKS)
    first = [sheet for sheet in sheets if sheet.name == "Read this first"]
    assert len(first) >= 1
    words = [line.text for sheet in first for line in sheet.words]
    for number, sheet in enumerate(sheets[len(first) :], len(first) + 1):
        assert f"{number}  {sheet.name}" in words
    text = " ".join(words)
    assert "Assumption number 59" in text and "Mind your head." in text and block.not_judged in text


def test_the_title_block_says_what_it_is() -> None:
    block, _ = book_of(lopsided(), "a4", datetime.date(2025, 3, 1), REMARKS)
    assert block.title == "Lopsided demo room, 10 $ a day"
    assert block.date == "2025-03-01"
    assert block.digest == lopsided().scene.digest
    assert block.demo == "Demo data: invented."
    assert f"below {lopsided().responses.transition_hz:.0f} Hz" in block.not_judged
