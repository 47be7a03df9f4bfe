"""The join: one row per batch, and what found no partner."""
