"""One arrival in words: each loss, and what would remove it."""
