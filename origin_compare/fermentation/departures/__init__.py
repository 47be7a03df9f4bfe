"""Which batches left the house band, when, and why."""
