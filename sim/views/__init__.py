"""Pictures: the only door to pyvista and matplotlib."""
