"""The scene file as written: read, checked and kept as frozen records, not yet built."""
