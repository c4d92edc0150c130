"""One schema on two engines: the only place that speaks SQL."""
