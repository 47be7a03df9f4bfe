"""More words that offices head their columns with, besides those the catalogue itself lists.

Common practice of the trade, no source. A word stands under every sheet whose column it may mean;
a word that could mean two columns of one sheet stands under neither.
"""

from __future__ import annotations

from collections.abc import Mapping

MORE_WORDS: Mapping[str, Mapping[str, str]] = {
    "growers": {
        "grower_id": (
            "grower number; farm code; farm no; supplier code; supplier no; producer; producer code"
        ),
        "farm_name": "farm name",
    },
    "lots": {
        "lot_id": "lot number; intake lot; grain lot no",
        "grower_id": (
            "grower number; supplier code; supplier no; producer; producer code; farm code"
        ),
        "season": "crop; harvest season",
        "sown_on": "date sown; drilling date; date drilled; planted; planted on",
        "harvested_on": "date harvested; combining date; date combined",
        "delivered_t": "net; tonnage; weight delivered; delivered weight; net weight; tonnes",
        "grain_n_pct_dm": "total nitrogen; nitrogen %; grain n %",
        "grain_moisture_pct": "moisture %; grain moisture %",
        "thousand_grain_g": "thousand corn weight; tcw",
        "germination_pct": "germinative capacity; germinative energy; germination %",
        "rain_mm": "rainfall in grain fill",
    },
    "malts": {
        "malt_id": (
            "malt batch; malt batch no; malting no; malt lot; malt code; malt number; "
            "piece; piece no"
        ),
        "malted_on": "kiln date; kilning date; date kilned; date malted; malting date",
        "moisture_pct": "moisture %",
        "extract_pct_dm": (
            "extract fine dry; extract dry; soluble extract; fine grind extract; extract "
            "fine; extract %"
        ),
        "soluble_n_ratio_pct": "soluble nitrogen ratio; kolbach index; snr %",
        "friability_pct": "friability %",
        "fan_mg_l": "free amino nitrogen",
        "diastatic_power": "diastatic power",
        "grain_t": "grain steeped; steeped",
    },
    "mashes": {
        "malt_id": "malt batch; malt batch no; malt lot; malt number",
        "mash_no": "mash no",
        "mashed_at": "mashed in; mashed in at; mash in time; mash time; mash-in time",
        "grist_kg": "grist weight; malt weight; malt mashed; grist kg",
        "strike_temp_c": "strike temperature; strike liquor temp",
        "wort_l": "wort collected; wort vol; worts collected",
        "wort_sg": "worts gravity",
        "run_off_h": "run-off time; run off time",
    },
    "fermentations": {
        "vessel": "washback no; wash back; fv; vessel no; tun; fermenter no; back no; wb",
        "pitched_at": (
            "pitched at; pitching time; date pitched; pitching; setting; set; set at; yeast "
            "added; yeast pitched; yeast in at"
        ),
        "pitch_temp_c": (
            "pitching temp; pitching temperature; pitch temperature; setting temperature; "
            "temp at pitching"
        ),
        "wort_l": (
            "vol; wort vol; wort volume; volume pitched; volume set; set volume; setting volume"
        ),
        "og_sg": (
            "original sg; starting gravity; start gravity; gravity at pitching; setting gravity"
        ),
        "yeast_kg": "yeast weight; yeast wt; yeast pitched kg; weight of yeast",
        "delivery_id": "yeast batch",
        "ended_at": ("dropped; drop; emptied at; discharged; to wash charger; end time; ended at"),
    },
    "readings": {
        "read_at": (
            "sampled; sampled at; sample time; reading time; measured at; date and time; "
            "datetime; logged at; recorded at; time stamp; reading at"
        ),
        "hours": (
            "hrs; elapsed; elapsed h; elapsed hours; age; hours from pitching; hours after "
            "pitching; hours from setting; time h; hours elapsed; age hours"
        ),
        "sg": "grav; density; specific grav",
        "temp_c": "wash temperature; temps; °C",
        "cooling_pct": "cooling valve",
    },
    "yeasts": {
        "delivery_id": "delivery no; yeast lot no; yeast batch",
        "form": "type; yeast type",
        "made_on": "production date; date made",
        "delivered_on": "delivery date; date received; arrived; date delivered",
        "viability_pct": "viability %",
    },
    "attenuations": {
        "limit_sg": "limit sg; limit of attenuation",
        "tested_on": "date tested",
    },
    "spirits": {
        "distilled_on": "date distilled; distillation date; still run date",
        "still": "still no",
        "wash_l": "wash volume; wash charged; wash vol",
        "wash_abv_pct": "wash abv %",
        "new_make_l": (
            "new make volume; new make vol; spirit volume; spirit litres; spirit collected; "
            "new spirit; new spirit litres"
        ),
        "new_make_abv_pct": "new make strength; spirit abv %; new make abv %",
        "cut_on_abv_pct": "cut on abv; on spirits",
        "cut_off_abv_pct": "cut off abv; off spirits",
    },
    "congeners": {
        "batch_id": "sample; sample no",
        "compound": "component; substance",
        "g_100l_aa": "concentration; conc; g/100l pa; g/hl pa; g per hl aa",
    },
    "scores": {
        "tasting_id": "session no; panel session; tasting session",
        "tasted_on": "tasting date; session date",
        "assessor_id": "assessor code; panelist; initials; panel member",
        "batch_id": "sample no",
        "position": "serving",
        "served_abv_pct": "served at; nosed at",
        "score": "mark; marks",
    },
}
"""Sheet -> column -> words, with semicolons."""
