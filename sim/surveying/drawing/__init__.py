"""Plan drawings: DXF and SVG files read as lines by layer, closed outlines found in them, laid out as a room."""
