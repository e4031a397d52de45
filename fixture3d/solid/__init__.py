"""Solids: the door to the CAD kernel, the door to meshes, and whether two of them are clear, touch or overlap."""
