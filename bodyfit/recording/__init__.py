"""What was recorded: captures, their common signals, and what each unit tells by itself."""
