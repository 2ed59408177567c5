"""Lengths of the segments, from stature, tape measure and motion."""
