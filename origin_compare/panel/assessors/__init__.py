"""How the panel and each assessor perform."""
