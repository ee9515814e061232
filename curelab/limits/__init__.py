"""Verdicts: pass, fail or unknown, against named rule sets and by how the meat was kept."""

from .carries import carried
from .checks import CAUTIONS, check_all, check_ingoing, check_residual, counting
from .exposure import Exposure, exposures, uncovered_time
from .process import check_process
from .protection import DISCARD, UNPROTECTED, WARM, check_local
from .rule_sets import RULE_SETS, Limit, Pick, RuleSet, find, picks
from .taken_up import check_taken_up
from .verdict import Verdict, Verdicts, worst_first

__all__ = [
    "CAUTIONS", "DISCARD", "RULE_SETS", "UNPROTECTED", "WARM", "Exposure", "Limit", "Pick", "RuleSet", "Verdict", "Verdicts", "carried", "check_all",
    "check_ingoing", "check_local", "check_process", "check_residual", "check_taken_up", "counting", "exposures", "find", "picks", "uncovered_time",
    "worst_first",
]  # fmt: skip
