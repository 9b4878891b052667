"""How a misclosure is shared out over the observations that made it."""
