"""Rows held against themselves, one another and what stands already."""
