"""What each command takes and does: a file per theme, with the arguments and the work of its commands.

A command's function takes the parsed options, prints the answer, and returns the exit code. Heavy libraries, and the
layers that need them, are loaded inside of it, so that the whole command line can be read at once.
"""
