"""The restricted likelihood and its least point."""
