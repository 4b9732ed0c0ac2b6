"""Two or more layouts side by side: what improved, what got worse, what did not change."""
