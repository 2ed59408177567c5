"""One least-squares problem over units and body: given, residuals, solver, found, how sure."""
