"""From a need to a block: what would hold a piece here, at this height, from this side."""
