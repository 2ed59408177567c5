"""The nearest motion within joint ranges that hold exactly."""
