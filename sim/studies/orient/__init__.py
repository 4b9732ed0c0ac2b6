"""Upright, inverted or lying: what each orientation does at the head and the desk."""
