"""Discrimination tests."""
