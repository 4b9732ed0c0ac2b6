"""How the records of one traced layout lie in results.h5, this layout and older ones."""
