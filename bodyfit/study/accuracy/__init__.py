"""How far a motion is from a reference."""
