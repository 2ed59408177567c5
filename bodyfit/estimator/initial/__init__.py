"""Where the solver starts: headings, and several postures to try."""
