"""Bytes to tables of text."""
