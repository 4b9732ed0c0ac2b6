"""Begin a scene and check it: the set-up sheet and the plan to confirm."""
