"""Many layouts of one scene: numbers that vary, the figures of each layout, work shared out."""
