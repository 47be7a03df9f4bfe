"""Texts to values."""
