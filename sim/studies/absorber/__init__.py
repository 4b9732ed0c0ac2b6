"""What one absorber build-up returns, by frequency and angle."""
