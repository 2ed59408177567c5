"""Small parts that know neither units nor bodies."""
