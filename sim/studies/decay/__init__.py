"""How long sound stays and how clear it is, with errors, against the target."""
