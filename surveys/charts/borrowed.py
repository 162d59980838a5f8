"""Detection that is borrowed from other species, in words."""

from surveys.language import said
from surveys.trends.species_result import SpeciesResult, SpeciesYear


def lenders_of(result: SpeciesResult) -> tuple[int, ...]:
    """The numbers of other species whose detection some season borrows, each once, in order."""
    numbers = {year.borrowed_from for year in result.years if year.borrowed_from}
    return tuple(sorted(numbers))


def borrowed_words(result: SpeciesResult) -> str:
    """That the corrected shares rest on other species, and on how many; blank where none does."""
    lenders = lenders_of(result)
    if not lenders:
        return ""
    if len(lenders) == 1:
        return said(
            "Corrected shares: detection borrowed from {count} other species.", count=lenders[0]
        )
    return said(
        "Corrected shares: detection borrowed from {fewest} to {most} other species.",
        fewest=lenders[0],
        most=lenders[-1],
    )


def borrowed_of(year: SpeciesYear) -> str:
    """The flag of a season year with the number of species; blank where nothing is borrowed."""
    if not year.borrowed_from:
        return ""
    return said("detection borrowed from {count} other species", count=year.borrowed_from)
