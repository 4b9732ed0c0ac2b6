"""How far every figure may be off, and what to measure again."""
