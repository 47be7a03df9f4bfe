"""The mixed model over batches and its columns."""
