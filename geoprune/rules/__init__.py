"""From vine size to what stays on the vine: rules, bud injury, recipes, balance, crop and cautions."""

from geoprune.rules.advice import (
    AdviceOptions,
    CropAdvice,
    ZoneAdvice,
    advise,
    split_advice,
    zone_bull_canes,
    zone_figures,
)
from geoprune.rules.balance import MANY_BULL_CANES, Diagnosis, ZoneFigures, density_notes, diagnose
from geoprune.rules.bands import Band, cane_weight_g, crop_load, find_bands, is_bull_cane, load_bands
from geoprune.rules.cautions import BUD_KEYS, CAUTION_KEYS, CAUTIONS, bud_notes, caution_notes, caution_texts
from geoprune.rules.crop import (
    Crop,
    CropAssumptions,
    Range,
    assumptions_for,
    buds_for_target,
    crop_offers,
    expect_crop,
    load_crop_assumptions,
    vines_per_ac,
    vines_per_ha,
)
from geoprune.rules.harvest import block_yield_kg, zone_yield_kg
from geoprune.rules.injury import Injury, assess_injury, check_counts, crop_potential, zone_injury
from geoprune.rules.injury_methods import (
    DEFAULT_METHOD,
    InjuryMethod,
    buds_to_cut,
    buds_to_cut_table,
    injury_method,
    load_methods,
    secondary_share,
)
from geoprune.rules.labour import MINUTES_PER_VINE, Labour, plan_labour
from geoprune.rules.library import RuleBook, Trial, load_rules, resolve_rule, rule_cautions, rule_table
from geoprune.rules.losses import loss_notes, missing_share, replants_alive
from geoprune.rules.need import LOW_SIZE_KG, RENEW_BELOW_KG, BudNeed, bud_need
from geoprune.rules.recipes import Recipe, fit_recipe, recipe
from geoprune.rules.rule import Rule, parse_rule
from geoprune.rules.shares import Shares, alike_p, dispersion_of, pool_shares, share_interval, smooth_shares
from geoprune.rules.training import Training, find_training, load_trainings
from geoprune.rules.wood import Part

__all__ = [
    "BUD_KEYS",
    "CAUTIONS",
    "CAUTION_KEYS",
    "DEFAULT_METHOD",
    "LOW_SIZE_KG",
    "MANY_BULL_CANES",
    "MINUTES_PER_VINE",
    "RENEW_BELOW_KG",
    "AdviceOptions",
    "Band",
    "BudNeed",
    "Crop",
    "CropAdvice",
    "CropAssumptions",
    "Diagnosis",
    "Injury",
    "InjuryMethod",
    "Labour",
    "Part",
    "Range",
    "Recipe",
    "Rule",
    "RuleBook",
    "Shares",
    "Training",
    "Trial",
    "ZoneAdvice",
    "ZoneFigures",
    "advise",
    "alike_p",
    "assess_injury",
    "assumptions_for",
    "block_yield_kg",
    "bud_need",
    "bud_notes",
    "buds_for_target",
    "buds_to_cut",
    "buds_to_cut_table",
    "cane_weight_g",
    "caution_notes",
    "caution_texts",
    "check_counts",
    "crop_load",
    "crop_offers",
    "crop_potential",
    "density_notes",
    "diagnose",
    "dispersion_of",
    "expect_crop",
    "find_bands",
    "find_training",
    "fit_recipe",
    "injury_method",
    "is_bull_cane",
    "load_bands",
    "load_crop_assumptions",
    "load_methods",
    "load_rules",
    "load_trainings",
    "loss_notes",
    "missing_share",
    "parse_rule",
    "plan_labour",
    "pool_shares",
    "recipe",
    "replants_alive",
    "resolve_rule",
    "rule_cautions",
    "rule_table",
    "secondary_share",
    "share_interval",
    "smooth_shares",
    "split_advice",
    "vines_per_ac",
    "vines_per_ha",
    "zone_bull_canes",
    "zone_figures",
    "zone_injury",
    "zone_yield_kg",
]
