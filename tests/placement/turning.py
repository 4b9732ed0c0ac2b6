"""Random rotations for tests."""

from __future__ import annotations

import numpy as np


def random_rotation(random: np.random.Generator) -> np.ndarray:
    """Return a proper rotation (3, 3), evenly spread."""
    turn, upper = np.linalg.qr(random.normal(size=(3, 3)))
    turn = turn * np.sign(np.diag(upper))
    return turn * np.sign(np.linalg.det(turn)) if np.linalg.det(turn) > 0 else -turn
