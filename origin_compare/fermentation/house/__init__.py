"""How batches in style run."""
