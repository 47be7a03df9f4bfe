"""What is asked of the user, and what was said: questions and reading plans."""
