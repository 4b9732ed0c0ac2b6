"""What surfaces and panels leave of the sound along a path."""
