"""Sensors that read wrongly: noise, clipping, scales, axes."""
