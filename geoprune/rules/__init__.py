"""From vine size to what stays on the vine: rules, bud injury, recipes, balance, crop and cautions."""

from geoprune.rules.draft import CAUTIONS, Injury, assess_injury, recipe
from geoprune.rules.library import RuleBook, Trial, load_rules, resolve_rule, rule_cautions, rule_table
from geoprune.rules.need import LOW_SIZE_KG, RENEW_BELOW_KG, BudNeed, bud_need
from geoprune.rules.rule import Rule, parse_rule

__all__ = [
    "CAUTIONS",
    "LOW_SIZE_KG",
    "RENEW_BELOW_KG",
    "BudNeed",
    "Injury",
    "Rule",
    "RuleBook",
    "Trial",
    "assess_injury",
    "bud_need",
    "load_rules",
    "parse_rule",
    "recipe",
    "resolve_rule",
    "rule_cautions",
    "rule_table",
]
