"""From one setup to the next in the fewest moves: what stays, what goes where, in which order, and on paper."""
