"""Questions asked of several scenes at once."""
