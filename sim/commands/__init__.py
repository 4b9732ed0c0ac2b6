"""What each command does with its arguments: calls the pipeline, says on the screen what came of it."""
