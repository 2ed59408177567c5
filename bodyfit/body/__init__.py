"""Bodies: segments, joints, ranges, shapes and persons."""
