"""The maps and lists served live from a database, for reading only; needs the extra ``sewermap[serve]``."""
