"""Ways a table may lie in a file, one module a way: a block in, blocks and what was done out."""
