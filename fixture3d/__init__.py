"""Check, draw and build welding fixtures that are located from a table's grid of holes."""

__version__ = "0.1.0"
