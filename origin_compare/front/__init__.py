"""All that knows the page library."""
