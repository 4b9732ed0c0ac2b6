"""What the paths add up to at the ear: arrivals, curves and maps."""
