"""From vine size to what stays on the vine: rules, bud injury, recipes, balance, crop and cautions."""

from geoprune.rules.advice import (
    AdviceOptions,
    ZoneAdvice,
    advise,
    split_advice,
)
from geoprune.rules.balance import Diagnosis, density_notes, diagnose
from geoprune.rules.bands import Band, cane_weight_g, crop_load, find_bands, grape_kind, load_bands
from geoprune.rules.cautions import (
    BUD_KEYS,
    CAUTION_KEYS,
    bud_notes,
    caution_notes,
    wood_notes,
)
from geoprune.rules.crop import (
    Crop,
    CropAssumptions,
    Range,
    assumptions_for,
    buds_for_target,
    expect_crop,
    load_crop_assumptions,
)
from geoprune.rules.evidence import MANY_BULL_CANES, ZoneFigures
from geoprune.rules.field_sheets import FieldSheet, bud_cutting_sheet, weighing_sheet
from geoprune.rules.floors import FEWEST_BUDS, FEWEST_REPLANTS, FEWEST_VINES, Measured, measure
from geoprune.rules.frost import frost_notes, frost_traits
from geoprune.rules.harvest import block_yield_kg, zone_yield_kg
from geoprune.rules.holds import fewest_canes, frame_steps, renew_messages, renew_sign, why_no_number
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
from geoprune.rules.library import RuleBook, Trial, load_rules, rule_cautions, rule_table
from geoprune.rules.losses import loss_notes, missing_share, replant_notes, replants_alive, sick_notes
from geoprune.rules.need import LOW_SIZE_KG, RENEW_BELOW_KG, BudNeed
from geoprune.rules.recipes import WOOD_LIMITS, Recipe, countable_counts, fit_recipe, recipe, wood_fault
from geoprune.rules.rule import Rule, parse_rule
from geoprune.rules.shares import Shares, alike_p, dispersion_of, pool_shares, share_interval, smooth_shares
from geoprune.rules.training import Training, find_training, load_trainings, suggest_trainings
from geoprune.rules.wood import Part
from geoprune.rules.wood_counts import count_of_whole_pieces, measured_wood
from geoprune.rules.zone_crop import CropAdvice
from geoprune.rules.zone_figures import zone_bull_canes, zone_figures
from geoprune.rules.zone_notes import zone_no_number

__all__ = [
    "BUD_KEYS",
    "CAUTION_KEYS",
    "DEFAULT_METHOD",
    "FEWEST_BUDS",
    "FEWEST_REPLANTS",
    "FEWEST_VINES",
    "LOW_SIZE_KG",
    "MANY_BULL_CANES",
    "MINUTES_PER_VINE",
    "RENEW_BELOW_KG",
    "WOOD_LIMITS",
    "AdviceOptions",
    "Band",
    "BudNeed",
    "Crop",
    "CropAdvice",
    "CropAssumptions",
    "Diagnosis",
    "FieldSheet",
    "Injury",
    "InjuryMethod",
    "Labour",
    "Measured",
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
    "bud_cutting_sheet",
    "bud_notes",
    "buds_for_target",
    "buds_to_cut",
    "buds_to_cut_table",
    "cane_weight_g",
    "caution_notes",
    "check_counts",
    "count_of_whole_pieces",
    "countable_counts",
    "crop_load",
    "crop_potential",
    "density_notes",
    "diagnose",
    "dispersion_of",
    "expect_crop",
    "fewest_canes",
    "find_bands",
    "find_training",
    "fit_recipe",
    "frame_steps",
    "frost_notes",
    "frost_traits",
    "grape_kind",
    "injury_method",
    "load_bands",
    "load_crop_assumptions",
    "load_methods",
    "load_rules",
    "load_trainings",
    "loss_notes",
    "measure",
    "measured_wood",
    "missing_share",
    "parse_rule",
    "plan_labour",
    "pool_shares",
    "recipe",
    "renew_messages",
    "renew_sign",
    "replant_notes",
    "replants_alive",
    "rule_cautions",
    "rule_table",
    "secondary_share",
    "share_interval",
    "sick_notes",
    "smooth_shares",
    "split_advice",
    "suggest_trainings",
    "weighing_sheet",
    "why_no_number",
    "wood_fault",
    "wood_notes",
    "zone_bull_canes",
    "zone_figures",
    "zone_injury",
    "zone_no_number",
    "zone_yield_kg",
]
