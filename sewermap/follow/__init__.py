"""WHERE and WHAT together: the runs of one lateral solved with the matching of what they saw. Reads and writes nothing."""

from sewermap.follow.following import Followed, follow

__all__ = ["Followed", "follow"]
