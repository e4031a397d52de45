"""Stock sections, limits and fits, and the geometry of V-blocks: tables as data, each with its source."""
