"""Where in a grid the tables lie: blocks with the headers, labels and lines around them."""
