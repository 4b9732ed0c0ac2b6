"""Records become flat facets with names, edges and ray queries."""
