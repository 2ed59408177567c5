"""Which unit is worn on which segment."""
