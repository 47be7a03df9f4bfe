"""What a sheet, a cell, a unit, a basis and a moment are; no files, no store."""
