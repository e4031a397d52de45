"""The 3D page: one file that shows the setup in any browser, without a network."""
