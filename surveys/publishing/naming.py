"""Names of species and of people, as publications give them."""

from surveys.language import gettext, said, said_of
from surveys.publishing.frozen import About

# The rank of a group, by the rank vocabulary at rs.gbif.org (issued 2015-04-24).
GROUP = "speciesAggregate"
_RANKS = {1: "genus", 2: "species", 3: "subspecies"}


def rank_of(name: str, *, is_group: bool) -> str | None:
    """Rank of a scientific name without authorship, by its number of words; None where that
    does not tell."""
    return GROUP if is_group else _RANKS.get(len(name.split()))


def genus_of(name: str) -> str | None:
    """The genus, where a name has only one: that of `Pseudacris maculata / triseriata` too."""
    genera = {word for word in name.split() if word[:1].isupper()}
    return genera.pop() if len(genera) == 1 else None


def thanks(about: About) -> str:
    """The observers: those who agreed to be named by name, the others by number."""
    others = about.observer_count - len(about.observers)
    unnamed = said_of(
        "{number} observer not named here", "{number} observers not named here", others
    )
    if not about.observers:
        return (
            said("Thanks to {names}.", names=unnamed)
            if others
            else gettext("Thanks to the observers.")
        )
    names = gettext(", ").join(about.observers)
    if not others:
        return said("Thanks to {names}.", names=names)
    return said("Thanks to {names}, and {unnamed}.", names=names, unnamed=unnamed)
