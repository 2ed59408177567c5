"""Many captures fitted side by side, each in a folder of its own, with one table and one page of them all."""
