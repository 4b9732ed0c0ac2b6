"""Energy by rays: late sound, bounces, and what mirrored paths carry."""
