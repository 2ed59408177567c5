"""What is given, what is looked for, and what is known beforehand."""
