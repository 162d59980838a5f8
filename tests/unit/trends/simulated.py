"""Made-up surveys with a known truth."""

import numpy as np


def spread_detections(sites, visits, heard_sites, detections):
    """Histories with these totals: the constant model uses nothing else of them."""
    history = np.zeros((sites, visits))
    left = detections
    for visit in range(visits):
        now = min(left, heard_sites)
        history[:now, visit] = 1
        left -= now
    return history


def occupancy_histories(rng, *, psi, p):
    """Histories for site chances ``psi`` (rows,) and visit chances ``p`` (rows, visits)."""
    occupied = rng.random(len(psi)) < psi
    return ((rng.random(p.shape) < p) & occupied[:, None]).astype(float)


def persistent_seasons(rng, *, sites, psi, p, visits, stay=0.8):
    """Stacked site-seasons whose sites tend to keep their state, and psi holds every year.

    Returns histories (sites * years, visits), season years and sites.
    """
    years = len(psi)
    luck = rng.random((sites, years))
    for year in range(1, years):
        kept = rng.random(sites) < stay
        luck[kept, year] = luck[kept, year - 1]
    occupied = luck < psi
    heard = (rng.random((sites, years, visits)) < p) & occupied[:, :, None]
    season = np.tile(np.arange(2001, 2001 + years), sites)
    return heard.reshape(-1, visits).astype(float), season, np.repeat(np.arange(sites), years)
