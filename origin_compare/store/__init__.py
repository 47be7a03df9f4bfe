"""Keeping and giving back."""
