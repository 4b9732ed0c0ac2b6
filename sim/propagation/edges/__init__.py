"""Edge diffraction: single edges, edges with mirrors, and chains round bodies."""
