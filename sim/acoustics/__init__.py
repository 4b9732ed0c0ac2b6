"""The vocabulary of acoustics: air, bands, levels and materials, each number with its source."""
