"""Units' clocks against each other."""
