"""A phone's scan of a room made into an outline with slopes: planes found, closed, named, held against the scan."""
