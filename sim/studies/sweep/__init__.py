"""How reflections change as numbers of the scene run over ranges."""
