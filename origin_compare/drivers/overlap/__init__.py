"""What is tied together before any coefficient is looked at."""
