"""What a store keeps beside the sheets, a book each: plain functions over a connection."""
