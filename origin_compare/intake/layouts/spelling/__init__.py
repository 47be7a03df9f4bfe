"""What is written short in a table, written out in full."""
