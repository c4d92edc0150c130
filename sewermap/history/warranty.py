"""Warranties: who answers for which stretch until when, whether it was looked at in time, and what may be claimed.

The door to ``warranty_terms`` (days), ``warranty_rules`` (the place's rules), ``warranty_in_force``, ``warranty_checks`` and
``warranty_claims``. Nothing here is legal advice: contracts and local law decide.
"""

from sewermap.history.warranty_checks import CHECK_STATES, CHECKS, checked
from sewermap.history.warranty_claims import CLAIMS, claimable
from sewermap.history.warranty_in_force import IN_FORCE, in_force
from sewermap.history.warranty_rules import OpenedByWork, WarrantyRules, warranty_rules
from sewermap.history.warranty_terms import notice_day, notice_rule

__all__ = [
    "CHECKS",
    "CHECK_STATES",
    "CLAIMS",
    "IN_FORCE",
    "OpenedByWork",
    "WarrantyRules",
    "checked",
    "claimable",
    "in_force",
    "notice_day",
    "notice_rule",
    "warranty_rules",
]
