"""One worn unit: its samples on an even clock, up and forward of the body, features of windows."""
