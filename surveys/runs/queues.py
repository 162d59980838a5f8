"""Queues of the worker. A host may serve only some of them: `worker --queues mail`."""

MAIL = "mail"
# Housekeeping: seconds, and nobody waits for it.
SHORT = "short"
# Fits and simulations: minutes of computing.
FITS = "fits"
# Imports and publications: minutes, and somebody watches.
LONG = "long"
