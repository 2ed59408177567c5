"""A fit as one page."""
