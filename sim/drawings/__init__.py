"""What is on each sheet for the builder: lines, dimensions and words in metres, before any file or picture."""
