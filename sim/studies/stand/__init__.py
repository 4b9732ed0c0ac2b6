"""What to stack so that the axis is at ear height, and whether it stands."""
