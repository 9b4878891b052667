"""Files to model: the only room that opens an input."""
