"""The pictures of results folders, of one layout or of several side by side."""
