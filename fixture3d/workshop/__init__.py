"""What the shop makes: fits chosen by use, and the drawing of a block."""
