"""The questions, one folder each: what it computes, says, tabulates and draws, and its command."""
