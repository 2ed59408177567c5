"""Motions: tables of segment rotations and joint angles, and scripts of keyframes."""
