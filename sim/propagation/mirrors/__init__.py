"""Mirrored paths: image sources, beams, and the search for every path up to an order."""
