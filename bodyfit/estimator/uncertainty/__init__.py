"""Standard deviations of what was found, from the solver's own information."""
