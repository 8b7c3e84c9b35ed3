"""File formats: one module and one registered class for each kind of file that a delivery may hold."""
