"""What the rooms hand to each other: frozen dataclasses over arrays. No I/O, no arithmetic."""
