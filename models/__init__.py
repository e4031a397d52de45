"""Shop content: one file a block."""
