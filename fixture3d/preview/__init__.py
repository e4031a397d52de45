"""Pictures of a setup, off screen and in a window."""
