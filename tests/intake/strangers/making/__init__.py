"""The layouts of the files in `own/`: one small function per case."""
