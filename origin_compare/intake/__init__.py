"""From the user's files to a plan of what would go in."""
