"""From the model to measures: numbers with units, compared with no tolerance here."""
