"""What surrounds a visit when it is judged: the training on record, and the route's other nights.

Sheets are judged one by one, and those of a file many at once; both must ask the same."""

import datetime as dt

import pytest

from surveys.importing.preview import preview_text
