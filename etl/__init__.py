"""Loading: files of a town into tables of sewermap. ``pipeline`` alone knows the order of the stages."""
