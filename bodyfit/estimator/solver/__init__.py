"""Residuals in, step and covariance out; knows nothing of bodies."""
