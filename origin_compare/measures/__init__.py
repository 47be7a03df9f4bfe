"""Physics and units of the trade: gravity, extract, alcohol, heat, carbon dioxide, spirit yield.

Every function takes a number, a NumPy array or a pandas Series and returns the same kind. Missing
values stay missing; a value outside the range its source covers raises `ValueError` naming it.
"""

from origin_compare.measures.alcohol import abv_from_density, ethanol_density, mass_fraction
from origin_compare.measures.conversions import (
    GRAVITY_UNITS,
    abv_to_us_proof,
    as_is_to_dm,
    at_moisture,
    c_to_f,
    dm_to_as_is,
    f_to_c,
    gravity_to_sg,
    l_deg_kg_to_pct,
    n_to_protein,
    pct_to_l_deg_kg,
    per_t_dry,
    protein_to_n,
    sg_to_gravity,
    strength_at,
    uk_proof_to_abv,
    us_proof_gallons_to_lpa,
)
from origin_compare.measures.fermenting import (
    apparent_attenuation,
    co2_kg,
    extract_fermented_kg,
    limit_gap,
    real_attenuation,
    real_extract,
    wash_abv,
)
from origin_compare.measures.gravity import plato_to_sg, sg_at_20c, sg_to_plato, water_density
from origin_compare.measures.heat import (
    cooling_heat_mj,
    fermentation_heat_mj,
    heat_recovered_mj,
    heat_to_remove,
    warming_k,
)
from origin_compare.measures.shapes import OutOfRange
from origin_compare.measures.yields import (
    brewhouse_yield,
    extract_kg,
    litres_at_20c,
    litres_of_alcohol,
    predicted_spirit_yield,
    share_of_predicted,
    spirit_yield,
    yeast_g_per_l,
    yeast_kg_per_t,
)

__all__ = [
    "GRAVITY_UNITS",
    "OutOfRange",
    "abv_from_density",
    "abv_to_us_proof",
    "apparent_attenuation",
    "as_is_to_dm",
    "at_moisture",
    "brewhouse_yield",
    "c_to_f",
    "co2_kg",
    "cooling_heat_mj",
    "dm_to_as_is",
    "ethanol_density",
    "extract_fermented_kg",
    "extract_kg",
    "f_to_c",
    "fermentation_heat_mj",
    "gravity_to_sg",
    "heat_recovered_mj",
    "heat_to_remove",
    "l_deg_kg_to_pct",
    "limit_gap",
    "litres_at_20c",
    "litres_of_alcohol",
    "mass_fraction",
    "n_to_protein",
    "pct_to_l_deg_kg",
    "per_t_dry",
    "plato_to_sg",
    "predicted_spirit_yield",
    "protein_to_n",
    "real_attenuation",
    "real_extract",
    "sg_at_20c",
    "sg_to_gravity",
    "sg_to_plato",
    "share_of_predicted",
    "spirit_yield",
    "strength_at",
    "uk_proof_to_abv",
    "us_proof_gallons_to_lpa",
    "warming_k",
    "wash_abv",
    "water_density",
    "yeast_g_per_l",
    "yeast_kg_per_t",
]
