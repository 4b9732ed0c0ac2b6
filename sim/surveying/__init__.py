"""Rooms as people have them: tape readings, scans and plan drawings made into scenes."""
