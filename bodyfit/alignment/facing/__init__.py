"""Which way every unit faces on its segment, where a pose is parted from the motion: exact, over the tree."""
