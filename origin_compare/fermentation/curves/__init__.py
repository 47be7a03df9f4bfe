"""Curves through the readings of a batch."""
