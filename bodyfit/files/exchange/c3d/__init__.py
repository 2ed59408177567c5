"""A fit as a C3D file."""
