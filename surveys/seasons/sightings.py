"""Animals that were seen on visits that count."""

from __future__ import annotations

from collections.abc import Iterator

from surveys.models import Program, Species
from surveys.seasons.query import fetch
from surveys.trends.sightings import Seen, TraitShare, trait_shares

_SEEN = """
SELECT s.scientific_name AS species, v.region, v.season_year, v.route_code AS route, g.life_stage,
       g.color_form, g.count
FROM counted_visit v
JOIN surveys_sighting g ON g.visit_id = v.id
JOIN surveys_species s ON s.id = g.species_id
WHERE v.program_id = %(program)s AND (%(species)s::bigint IS NULL OR s.id = %(species)s)
"""


def sighting_shares(program: Program, species: Species | None = None) -> Iterator[TraitShare]:
    """The shares of color forms and life stages, of one species or of all."""
    rows = fetch(_SEEN, {"program": program.pk, "species": species.pk if species else None})
    return trait_shares(Seen(**row._asdict()) for row in rows)
