"""What questions share in showing things: words, lengths, tables, folders, archive, chart style, rooms in 3D."""
