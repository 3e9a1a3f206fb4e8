"""Routes, one module per subject."""
