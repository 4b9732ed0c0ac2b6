"""Several good layouts that differ, within ranges."""
