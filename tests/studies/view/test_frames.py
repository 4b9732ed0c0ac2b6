"""Messages: what goes in comes out, and each array begins where a reader of numbers of four bytes may begin."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from sim.studies.view.frames import decoded, encoded


@given(
    words=st.text(max_size=20),
    levels=arrays.arrays(np.uint8, arrays.array_shapes(min_dims=1, max_dims=3, min_side=0, max_side=5)),
    points=arrays.arrays(np.float32, arrays.array_shapes(max_dims=2, max_side=5), elements=st.floats(-9, 9, width=32)),
)
def test_there_and_back(words: str, levels: np.ndarray, points: np.ndarray) -> None:
    message = encoded({"words": words}, {"levels": levels, "points": points, "more": levels})
    header, found = decoded(message)
    assert header == {"words": words}
    assert np.array_equal(found["levels"], levels) and found["levels"].dtype == np.uint8
    assert np.array_equal(found["points"], points)
    assert np.array_equal(found["more"], levels)
    assert len(message) % 4 == 0


def test_numbers_of_eight_bytes_become_four() -> None:
    _, found = decoded(encoded({}, {"x": np.array([[1.5, -2.25]])}))
    assert found["x"].dtype == np.dtype("<f4")
    assert found["x"].tolist() == [[1.5, -2.25]]
