"""One page that opens offline: the room to turn, curves, layouts, plan."""
