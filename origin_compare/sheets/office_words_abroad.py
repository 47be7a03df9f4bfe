"""German and French words that maltings and distilleries head their columns with.

Common practice of the trade, no source; from memory. A word that is another thing in an English
sheet (such as `Charge`) is left out: it is asked about.
"""

from __future__ import annotations

from collections.abc import Mapping

_BATCH = "sud; sud nr; sudnummer; gärcharge; lot de fermentation; numéro de lot; brassin"
WORDS_ABROAD: Mapping[str, Mapping[str, str]] = {
    "lots": {
        "lot_id": "partie; partienummer; gerstenpartie; n° de lot; numéro de lot",
        "grower_id": "erzeuger; landwirt; lieferant; producteur; agriculteur",
        "season": "erntejahr; récolte; année de récolte",
        "field": "schlag; parcelle",
        "variety": "sorte; variété",
        "previous_crop": "vorfrucht; précédent cultural; précédent",
        "sown_on": "aussaat; aussaattermin; semis; date de semis",
        "harvested_on": "erntedatum; erntetermin; date de récolte; moisson",
        "area_ha": "fläche; surface",
        "yield_t_ha": "ertrag; rendement",
        "grain_moisture_pct": "feuchte; kornfeuchte; humidité",
    },
    "malts": {
        "malt_id": "malzcharge; malzpartie; malz nr; lot de malt",
        "lot_id": "gerstenpartie; partie; lot d'orge",
        "malted_on": "abdarrdatum; date de touraillage",
        "moisture_pct": "wassergehalt; humidité",
        "friability_pct": "friabilität; mürbigkeit; friabilité",
    },
    "fermentations": {
        "batch_id": _BATCH,
        "vessel": "bottich; gärbottich; tank; cuve",
        "og_sg": "stammwürze; densité initiale",
        "pitch_temp_c": "anstelltemperatur",
        "wort_l": "würze; moût",
        "yeast_kg": "hefegabe kg; levure kg",
    },
    "readings": {
        "batch_id": _BATCH,
        "read_at": "messzeit; messzeitpunkt; datum; uhrzeit; date et heure",
        "hours": "gärstunden; gärzeit; âge",
        "sg": "dichte; extrakt; densité",
        "temp_c": "temperatur; température",
        "ph": "ph wert",
        "instrument": "messgerät",
    },
    "yeasts": {
        "delivery_id": "lieferung; livraison",
        "strain": "stamm; souche",
        "made_on": "hergestellt",
        "delivered_on": "geliefert",
    },
    "spirits": {
        "batch_id": _BATCH,
        "distilled_on": "destilliert am; date de distillation",
    },
    "scores": {
        "tasting_id": "verkostung; dégustation",
        "tasted_on": "verkostet am",
        "assessor_id": "prüfer; prüferin; dégustateur",
        "attribute": "merkmal; descripteur",
        "score": "punkte",
    },
    "congeners": {
        "compound": "substanz; verbindung; composé",
    },
}
"""Sheet -> column -> words, with semicolons."""
