"""The main job: what a trace says, its tables and its pictures."""
