"""Best stacks against a search that is too simple to be wrong."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.studies.stand.pieces import Piece, read_piece
from sim.studies.stand.search import best_stacks, set_layers, ways_to_lie
from sim.studies.stand.stack import Stack, Wish, stack_of

WISH = Wish(1.20, 1.2, 0.18, 0.29, 0.23, 5.5, 0.22)
BLOCKS = "block 390x190x190 12kg x4"


def by_brute_force(pieces: list[Piece], wish: Wish) -> list[Stack]:
    """Every count of every way to lie, then a plain sort: no window, nothing cut off."""
    options = ways_to_lie(pieces)
    stacks = []
    for counts in product(*(range(option.piece.layers + 1) for option in options)):
        used = [0] * len(pieces)
        for option, count in zip(options, counts, strict=True):
            used[option.number] += count
        if any(number > piece.layers for number, piece in zip(used, pieces, strict=True)):
            continue
        chosen = [option for option, count in zip(options, counts, strict=True) for _ in range(count)]
        if sum(option.piece.kind in ("pad", "isolator") for option in chosen) > 2:
            continue
        if sum(option.piece.kind == "stand" for option in chosen) > 1:
            continue
        stacks.append(stack_of(set_layers(chosen, wish), wish))

    def worth(stack: Stack) -> tuple[object, ...]:
        error_class = next(k for k in range(1000) if abs(stack.error_m) <= 0.05 * (k + 1) + 1e-9)
        tips = stack.tips.least_deg
        return (
            2 if tips <= 0.0 else 1 if tips < 10.0 else 0,
            error_class,
            not tips >= 15.0,
            round(abs(stack.error_m) / 0.005),
            stack.pieces,
            -round(stack.tips.least_deg, 6),
            tuple(layer.words for layer in stack.layers),
        )

    return sorted(stacks, key=worth)  # type: ignore[arg-type]


def reported(stack: Stack) -> list[str]:
    return [layer.words for layer in stack.layers]


POOL = (
    BLOCKS,
    "block 290x190x90 7kg x3 layer 1",
    "block 390x190x190 12kg x4 layer 2",
    "plate 300x300x10 x2",
    "plate 400x400x18 2kg x2",
    "pad 200x250x40 compression 2mm x2",
    "isolator 50x50x30 compression 3mm at 2kg x8",
    "stand 300x300x700-800 7kg",
    "stand 280x280x900 6kg x2",
)


@given(st.lists(st.sampled_from(POOL), min_size=1, max_size=3, unique=True), st.floats(0.3, 1.6), st.integers(1, 6))
@settings(max_examples=25, deadline=None)
def test_the_best_are_the_best_of_all(texts: list[str], height: float, best: int) -> None:
    pieces = [read_piece(text) for text in texts]
    wish = Wish(height, 1.2, 0.18, 0.29, 0.23, 5.5, 0.22)
    expected = by_brute_force(pieces, wish)[:best]
    assert [reported(stack) for stack in best_stacks(pieces, wish, best=best)] == [
        reported(stack) for stack in expected
    ]


def test_three_flat_blocks_and_one_upright_by_hand() -> None:
    """0.57 + 0.39 = 0.96 m and a base of 10 + 10 mm: the axis at 1.20 m, or a plate less for nothing gained."""
    best = best_stacks([read_piece(BLOCKS), read_piece("plate 300x300x10 x2")], WISH)[0]
    assert best.error_m == pytest.approx(0.0)
    assert best.height_m == pytest.approx(0.98)


def test_what_stands_at_ten_degrees_comes_first_within_5_cm() -> None:
    """A slim column would hit the height; the wide one is 30 mm off but stands."""
    slim, wide = read_piece("plate 60x60x980 20kg"), read_piece("plate 400x400x950 40kg")
    best = best_stacks([slim, wide], WISH, best=2)
    assert reported(best[0]) == ["plate 400 x 400 x 950 mm"]
    assert reported(best[1]) == ["plate 60 x 60 x 980 mm"]
    assert best[1].tips.least_deg < 10.0 < best[0].tips.least_deg


def test_soft_layers_lie_on_top_and_give_way() -> None:
    pad = read_piece("pad 200x250x40 compression 2mm")
    for stack in best_stacks([read_piece(BLOCKS), pad], WISH, soft=True):
        assert stack.layers[-1].piece.kind == "pad"
        assert stack.layers[-1].height_m == pytest.approx(0.038)
        assert stack.spring_hz == pytest.approx(15.76 / 2.0**0.5, rel=1e-3)


def test_a_stand_is_set_where_the_axis_meets_the_ear() -> None:
    best = best_stacks([read_piece("stand 300x300x800-1100 7kg")], WISH)[0]
    assert best.layers[0].height_m == pytest.approx(0.98)
    assert best.error_m == pytest.approx(0.0, abs=5e-4)


def test_the_same_list_gives_the_same() -> None:
    pieces = [read_piece(text) for text in POOL[:4]]
    assert [reported(s) for s in best_stacks(pieces, WISH)] == [reported(s) for s in best_stacks(list(pieces), WISH)]


def test_too_many_stacks_are_refused_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sim.studies.stand.search.MOST_STACKS", 500)
    many = [read_piece(f"plate 300x300x{thick} x9") for thick in (1, 2, 3, 4, 5, 6, 7, 8)]
    with pytest.raises(SceneError, match="name fewer pieces"):
        best_stacks(many, Wish(0.4, 1.2, 0.18, 0.29, 0.23, 5.5, 0.22))


def test_only_what_can_be_raised_is_told_with_a_range() -> None:
    words = [option.words for option in ways_to_lie([read_piece(text) for text in POOL if "-" not in text])]
    assert words and not any("-" in text.replace("on edge", "") for text in words)
    (raised,) = ways_to_lie([read_piece("stand 300x300x700-800 7kg")])
    assert raised.words == "stand 300 x 300 x 700-800 mm"


def test_a_block_is_told_by_the_side_it_lies_on() -> None:
    """390 x 190 x 90 mm: 90 high it lies flat, 190 high on edge, 390 high it stands upright."""
    options = ways_to_lie([read_piece("block 390x190x90 7kg x3")])
    words = [option.words.rsplit(" mm ", 1)[1] for option in sorted(options, key=lambda option: option.height_m)]
    assert words == ["flat", "on edge", "upright"]


def test_what_tips_never_comes_before_what_stands() -> None:
    """A slim column of the right height tips at atan(0.075 / 0.72) = 6 degrees; a low wide plate stands.

    Ten degrees: tilt test of IEC 62368-1 (second-hand).  Fifteen, for what only just stands: common practice, no
    source.
    """
    pieces = [read_piece("plate 150x150x980 10kg"), read_piece("plate 400x500x700 40kg")]
    best = best_stacks(pieces, WISH, best=2)
    assert abs(best[0].error_m) > abs(best[1].error_m)
    assert best[0].tips.least_deg >= 10.0 > best[1].tips.least_deg
    loose, wide = read_piece("plate 300x300x980 10kg"), read_piece("plate 400x400x960 40kg")
    ranked = best_stacks([loose, wide], WISH, best=2)
    assert reported(ranked[0]) == reported(best_stacks([wide], WISH, best=1)[0])
    assert abs(ranked[0].error_m) > abs(ranked[1].error_m)
    assert 10.0 <= ranked[1].tips.least_deg < 15.0 <= ranked[0].tips.least_deg
