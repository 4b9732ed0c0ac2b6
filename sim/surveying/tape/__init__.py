"""Rooms by tape: readings in any unit, outlines balanced from more distances than needed, questions on the terminal."""
