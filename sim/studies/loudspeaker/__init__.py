"""What is understood of a loudspeaker or its data."""
