"""Which common blunder would explain the residuals. Pure; it never corrects anything."""
