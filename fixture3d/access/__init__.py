"""Whether a torch reaches a weld: torches, weld lines, and the kernel that tries every position."""
