"""Tastings planned, served and read back."""
