"""Verdicts: pass, fail or unknown, against named rule sets and by how the meat was kept."""

from .checks import CAUTIONS, NITRITE_CAUTIONS, check_all, check_ingoing, check_residual, counting
from .cooked import check_cooked
from .cooling import Cured, check_come_up, check_cooling, check_holding, check_reheating
from .curve import Curve
from .exposure import Exposure, exposures, uncovered_time
from .lethality import check_bag, check_lethality, check_spores
from .process import check_process
from .protection import DISCARD, UNPROTECTED, WARM, check_local
from .rule_sets import RULE_SETS, Limit, Pick, RuleSet, find, picks
from .taken_up import check_taken_up
from .verdict import Verdict, Verdicts, worst_first

__all__ = [
    "CAUTIONS", "DISCARD", "NITRITE_CAUTIONS", "RULE_SETS", "UNPROTECTED", "WARM", "Cured", "Curve", "Exposure", "Limit", "Pick", "RuleSet", "Verdict", "Verdicts",
    "check_all", "check_bag", "check_come_up", "check_cooked", "check_cooling", "check_holding", "check_ingoing", "check_lethality",
    "check_local", "check_process", "check_reheating", "check_residual", "check_spores", "check_taken_up", "counting", "exposures", "find",
    "picks", "uncovered_time", "worst_first",
]  # fmt: skip
