"""One module a figure: arrays of a finding in, an SVG figure with a computed title out."""
