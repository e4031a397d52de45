"""The record of a setup as a command: what was set and measured at the table is added to its file, joined and shown."""
