"""Commands on what happened in a motion, one a file."""
