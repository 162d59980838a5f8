"""Sites that differ in detection for reasons that no sheet tells, in the contest of models.

With two classes of sites, a class that is hardly ever heard can hardly be told from sites that are
merely empty: how many sites there are of it, and with it the share of sites, is then nearly free
(Link 2003, Biometrics 59:1123-1130; Royle 2006, Biometrics 62:97-102; from memory). So two classes
are used only where the data ask for them clearly, and where they do not make a rare species a
common one. Both limits were chosen on simulated programs, 200 a case: without them two classes won
in 2 to 7 of 100 programs whose sites are equal, with them in 0 to 1, and where two classes made
the data of a common species they win as often as before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from scipy.special import expit

from surveys.trends.criterion import Candidate, candidate_of
from surveys.trends.estimates import LEVEL_NOT_KNOWN, NOT_CLEARLY_BETTER, merge_flags
from surveys.trends.models.level_models import LevelModel, by_abundance, in_two_classes
from surveys.trends.models.occupancy import OccupancyFit
from surveys.trends.models.unequal_fit import fit_unequal_detection
from surveys.trends.models.year_levels import YearLevels
from surveys.trends.site_covariates import SiteCovariate

TWO_CLASSES = "+two-classes"
BY_ABUNDANCE = "+by-abundance"
# Each needs a third visit to be told from sites that are merely empty.
UNEQUAL: Mapping[str, LevelModel] = {TWO_CLASSES: in_two_classes, BY_ABUNDANCE: by_abundance}
VISITS_FOR_UNEQUAL = 3
# Sites in a season times visits, each kind counted once, up to which they are tried: beyond, where
# detection differs between visits, they would take longer than everything else together.
MOST_FOR_UNEQUAL = 30_000
# The criterion by which two classes have to be better than equal sites. Twice the difference of
# log-likelihoods does not follow a chi square here: without a second class its two numbers mean
# nothing.
LEAST_BETTER = 4.0
# Above this ratio of the two shares most of the occupied sites are such as were never heard. Where
# two classes made the data, it was 1.2 to 1.9.
MOST_SITES_ADDED = 2.0


def unequal_candidates(
    equal: OccupancyFit,
    site_covariates: Mapping[str, SiteCovariate],
    levels_under: Callable[[str], YearLevels],
) -> dict[str, Candidate]:
    """The forms of unequal detection by name, under the covariates of the fit with equal sites.

    A form that must not be used has a flag. ``levels_under`` fits the yearly levels with the form
    of a name; that takes long, and is asked for only where two classes would win otherwise.
    """
    visits = (~np.isnan(equal.history)).sum(axis=1).max(initial=0)
    if visits < VISITS_FOR_UNEQUAL or _numbers(equal) > MOST_FOR_UNEQUAL:
        return {}
    candidates = {
        name: candidate_of(fit_unequal_detection(equal, model), site_covariates)
        for name, model in UNEQUAL.items()
    }
    two = candidates[TWO_CLASSES]
    lead = candidate_of(equal, site_covariates).criterion - two.criterion
    if two.is_usable and lead > 0:
        why: tuple[str, ...] = ()
        if lead < LEAST_BETTER:
            why = (NOT_CLEARLY_BETTER,)
        elif adds_too_many_sites(levels_under(TWO_CLASSES), equal):
            why = (LEVEL_NOT_KNOWN,)
        candidates[TWO_CLASSES] = replace(two, flags=merge_flags(two.flags, why))
    return candidates


def _numbers(fit: OccupancyFit) -> int:
    """Sites in a season times visits, each kind counted once."""
    visits = fit.cells.trials.shape[1]
    # Most programs are small enough, or too large, without a search for sites that are alike.
    few = fit.cells.trials.size <= MOST_FOR_UNEQUAL
    return fit.cells.trials.size if few else fit.cells.kinds * visits


def adds_too_many_sites(levels: YearLevels, equal: OccupancyFit) -> bool:
    """Whether yearly levels with two classes say more than twice the share of sites that the same
    covariates give where all sites are heard equally well."""
    maximum = equal.maximum
    if maximum is None:
        return False
    psi = equal.cells.psi_design
    shares = expit(psi @ maximum.theta[: psi.shape[1]])
    share = float(np.average(shares, weights=equal.cells.weight))
    with_classes = float(np.mean(expit(levels.levels[:, None] + levels.offsets)))
    return with_classes > MOST_SITES_ADDED * share
