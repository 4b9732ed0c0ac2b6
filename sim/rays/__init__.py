"""Ray queries and the vector type they are made of: knows arrays only."""
