"""Where boxes, stands, desk and head stand, how they are turned, and what is in the way."""
