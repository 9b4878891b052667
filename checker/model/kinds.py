"""What the kinds of checks are called, on pages and on the terminal."""

KIND_NAMES = {
    "stakeout": "Stakeout",
    "control": "Control check",
    "site_fit": "Site fit",
    "accuracy": "Accuracy statement",
    "rover_test": "Field test of the rover",
    "traverse": "Traverse",
    "levels": "Level run",
    "repeats": "Repeat shots",
    "slope_stake": "Slope stakes",
    "curb_return": "Curb return",
    "surface": "Surface",
    "relative": "Relative positions",
    "plane": "Slope and flatness",
    "pipe": "Pipe runs",
    "vectors": "Loops of vectors",
    "network": "Network",
    "figure": "Figure",
}


def kind_name(kind: str) -> str:
    """Return what a kind of check is called on a page."""
    return KIND_NAMES.get(kind, kind.replace("_", " ").capitalize())
