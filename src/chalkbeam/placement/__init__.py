"""The placement engine: where artwork goes on a garment, why, and what is wrong with it."""

from chalkbeam.placement.alternatives import alternatives
from chalkbeam.placement.answers import Impossible
from chalkbeam.placement.engine import foot_of, place
from chalkbeam.placement.many import Placer, Request
from chalkbeam.placement.plain import plain_concerns, plain_placement, plain_pose
from chalkbeam.placement.usual import fitted
from chalkbeam.placement.values import (
    Concern,
    CrossCheck,
    Placement,
    RuleResult,
    Severity,
    Verdict,
)
from chalkbeam.placement.words import (
    asked_words,
    check_words,
    reasons,
    result_words,
    tolerance_words,
)

__all__ = [
    "Concern",
    "CrossCheck",
    "Impossible",
    "Placement",
    "Placer",
    "Request",
    "RuleResult",
    "Severity",
    "Verdict",
    "alternatives",
    "asked_words",
    "check_words",
    "fitted",
    "foot_of",
    "place",
    "plain_concerns",
    "plain_placement",
    "plain_pose",
    "reasons",
    "result_words",
    "tolerance_words",
]
