"""Shop content: one TOML file a scene, and the files that it names."""
