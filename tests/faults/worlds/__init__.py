"""Worlds with known truth, written without sight of the methods they are held against.

`vessel` is a mechanistic fermentation house, `flavour` a season of growers and a tasting panel.
Both give sheets in the program's own columns and the truth beside them, and share no code with
`origin_compare` beyond the names of its sheets' columns.
"""
