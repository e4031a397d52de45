"""How much a weld draws the work together: handbook estimates as bands, each with its source and range."""
