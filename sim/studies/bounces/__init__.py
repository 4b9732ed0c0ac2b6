"""Where early sound strikes first, second and third."""
