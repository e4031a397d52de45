"""The same setup elsewhere: an ordinary scene file made from another one, mirrored, turned, moved or repeated."""
