"""Stacks in words: numbers, warnings, springs, fillings, cautions."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.studies.stand.answer import Stacks
from sim.studies.stand.pieces import Piece, read_piece
from sim.studies.stand.search import best_stacks
from sim.studies.stand.stack import Wish
from sim.studies.stand.text import stack_words, stand_lines

WISH = Wish(1.20, 1.2, 0.18, 0.29, 0.23, 5.5, 0.22)


def text_of(*words: str, wish: Wish = WISH, lowest_hz: float = 45.0, soft: bool = False, best: int = 1) -> str:
    pieces: list[Piece] = [read_piece(each) for each in words]
    lines = stand_lines(
        Stacks(
            best_stacks(pieces, wish, best=best, soft=soft), wish, tuple(pieces), lowest_hz, ("Assumed for a test.",)
        )
    )
    assert max(len(line) for line in lines) <= 105
    return " ".join(" ".join(lines).split())


def test_a_column_by_hand() -> None:
    """As in test_stack.py: centre 0.55985 m up, atan(0.2 / 0.55985) = 19.7, atan(0.15 / ...) = 15.0."""
    text = text_of("plate 300x400x980 44.5kg")
    assert "top at 980 mm, axis at 1200 mm: at ear height" in text
    assert "no tilt is needed" in text
    assert "50.0 kg in all, 1 piece and the cabinet; centre of gravity 560 mm up, over the middle" in text
    assert "forward 19.7 (over the floor), rearward 19.7 (over the floor), sideways 15.0 (over the floor)" in text
    assert "WARNING" not in text and "STOP" not in text
    assert "nothing soft" in text


def test_too_low_is_told_with_its_wedge() -> None:
    text = text_of("plate 300x400x880 44.5kg")
    assert "axis at 1100 mm: 100 mm too low" in text
    assert "degrees up points at the ear: a wedge under its front of" in text


def test_under_ten_degrees_is_warned_and_what_falls_is_stopped() -> None:
    assert "WARNING: it tips before 10 degrees" in text_of("plate 150x150x980 10kg")
    falls = text_of("plate 100x100x980 10kg", wish=replace(WISH, forward_m=0.06), best=2)
    assert falls.startswith("STOP: none of these stands, every stack tips before 10 degrees.")
    assert "STOP: it does not stand by itself" in falls


@pytest.mark.parametrize(
    ("lowest_hz", "words"),
    [
        (45.0, "at the lowest note (45 Hz) it isolates"),
        (12.0, "it does not isolate: it amplifies there"),
        (5.0, "at the lowest note (5 Hz) it does not isolate"),
    ],
)
def test_a_pad_isolates_above_the_root_of_two(lowest_hz: float, words: str) -> None:
    """2 mm: 15.76/sqrt(2) = 11.1 Hz, isolating above 15.8 Hz."""
    text = text_of("plate 300x400x940 44.5kg", "pad 200x250x40 compression 2mm", lowest_hz=lowest_hz, soft=True)
    assert "natural frequency 11.1 Hz, isolates above 15.8 Hz" in text
    assert words in text


def test_hollow_stands_name_what_fills_them_and_guesses_are_told() -> None:
    text = text_of("stand 300x300x800-1100 hollow 4l")
    assert "set to 980 mm" in text
    assert "(4 l) takes 6.4 kg of dry sand, 18.0 kg of steel shot" in text
    assert "Not weighed, so guessed" in text


def test_cautions_and_the_hand_test_are_always_there() -> None:
    text = text_of("plate 300x400x980 44.5kg")
    for word in (
        "rings or wobbles is outside this model",
        "knock",
        "push",
        "Tipping",
        "Lifting",
        "Children",
        "Earthquakes",
        "Local codes",
        "Assumed for a test.",
    ):
        assert word in text


def test_layers_that_are_alike_are_counted() -> None:
    stack = best_stacks([read_piece("plate 300x300x245 x4")], WISH, best=1)[0]
    assert stack_words(stack) == "4 layers of plate 300 x 300 x 245 mm (from the floor up)"
