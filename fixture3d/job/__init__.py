"""From a scene to every body of the setup in its place: what all checks and outputs read."""

from fixture3d.job.job import Body, Job, PinState, PlacedPad, Role, Seat, SeatedPin, placed_pads

__all__ = ["Body", "Job", "PinState", "PlacedPad", "Role", "Seat", "SeatedPin", "placed_pads"]
