"""What people write about their blocks, pads and stands."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.errors import SceneError
from sim.studies.stand.pieces import read_piece, sizes_m


def test_a_block_in_words_and_with_commas() -> None:
    block = read_piece("block 390x190x190 12kg x4")
    assert (block.width_m, block.depth_m, block.height_m) == pytest.approx((0.39, 0.19, 0.19))
    assert (block.kind, block.mass_kg, block.mass_given, block.count, block.layers) == ("block", 12.0, True, 4, 4)
    assert read_piece("block,390x190x190,12kg,x4") == block
    assert read_piece("blocks 39x19x19cm 12kg x4").width_m == pytest.approx(0.39)


def test_inches() -> None:
    assert sizes_m("12x8x8in", "--have", "") == pytest.approx((0.3048, 0.2032, 0.2032, 0.2032))


def test_mass_follows_from_the_usual_density_when_it_is_not_told() -> None:
    plate = read_piece("plate 300x300x10")
    assert not plate.mass_given
    assert plate.mass_kg == pytest.approx(0.3 * 0.3 * 0.01 * 700.0)


def test_isolators_stand_in_fours_and_share_the_load() -> None:
    feet = read_piece("isolator 50x50x30 compression 3mm at 2kg")
    assert (feet.count, feet.in_layer, feet.layers) == (4, 4, 1)
    assert feet.under_kg(8.0) == pytest.approx(0.003)
    assert feet.under_kg(16.0) == pytest.approx(0.006)


def test_a_compression_without_its_load_is_taken_as_it_is() -> None:
    pad = read_piece("pad 200x250x40 compression 2")
    assert pad.under_kg(5.0) == pad.under_kg(50.0) == pytest.approx(0.002)


def test_a_stand_has_a_range_and_a_hollow() -> None:
    stand = read_piece("stand 300x300x800-1100 7kg hollow 4l")
    assert (stand.height_m, stand.most_height_m, stand.hollow_m3) == pytest.approx((0.8, 1.1, 0.004))


def test_pieces_are_shared_among_stacks() -> None:
    assert read_piece("block 390x190x190 x9", stacks=2).count == 4


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("brick 200x100x50", "does not begin with a kind; begin with one of block"),
        ("", "does not begin with a kind"),
        ("block", "has no sizes"),
        ("block 390x190", "is not three sizes"),
        ("block 390x190x4000", "give sizes above zero and up to 3000 mm"),
        ("block 390x190x0", "give sizes above zero"),
        ("block 390x190x190 heavy", '"heavy"'),
        ("block 390x190x190 x0", "leaves 0 for one stack"),
        ("block 390x190x190 x999999999999", "name 99 of a kind at most"),
        ("block 390x190x190 0kg", "weighs nothing"),
        ("isolator 50x50x30 x3", "leaves 3 for one stack, and one layer takes 4"),
        ("block 390x190x190-400", "only a stand can be set"),
        ("block 390x190x190 compression 2mm", "call it a pad or an isolator"),
        ("pad 200x200x40 compression 40mm", "would be pressed flat"),
        ("pad 200x200x40 compression much", "is no number"),
        ("pad 200x200x40 compression 2mm at 0kg", "is not above zero"),
        ("block 390x190x190 layer 1.5", "is no number"),
    ],
)
def test_what_is_not_understood_is_told_in_a_sentence(text: str, words: str) -> None:
    with pytest.raises(SceneError, match="--have") as raised:
        read_piece(text)
    assert words in str(raised.value)


def test_a_solid_block_of_dense_concrete() -> None:
    """440 x 215 mm faces are usual (Concrete Society); 2000 kg/m3 times 0.44 x 0.10 x 0.215 m is 18.92 kg."""
    assert read_piece("block 440x215x100").mass_kg == pytest.approx(18.92, abs=0.01)


WORDS = [
    "block",
    "plate",
    "pad",
    "isolator",
    "stand",
    "390x190x190",
    "50x50x30",
    "300x300x800-1100",
    "12kg",
    "x4",
    "x99999",
    "layer",
    "2",
    "compression",
    "2mm",
    "at",
    "2kg",
    "hollow",
    "4l",
    "0",
    "-1",
    "1e400",
    "x",
    "0x0x0",
    "9x9x9ft",
]


@given(st.lists(st.sampled_from(WORDS), max_size=8))
def test_any_words_are_a_piece_or_refused_in_a_sentence(words: list[str]) -> None:
    try:
        piece = read_piece(" ".join(words))
    except SceneError as fault:
        assert "\n" not in str(fault)
    else:
        assert 0 < piece.in_layer <= piece.count <= 99
        assert piece.mass_kg > 0.0
        assert piece.compression_m < piece.height_m
