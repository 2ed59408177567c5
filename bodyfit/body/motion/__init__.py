"""A body in motion: poses, joint angles, curves and figures of them."""
