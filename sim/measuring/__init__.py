"""What a microphone heard: sweeps, recordings, impulse responses and their curves."""
