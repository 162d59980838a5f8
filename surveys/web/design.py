"""Sample values for the design page, which shows every component of the design system once."""

from typing import Any

from django import forms
from django.core.paginator import Paginator

from accounts.form_errors import Form
from surveys.protocol.values import (
    Severity,
    Where,
)
from surveys.visits.telling import ToldFinding
from surveys.web.themes import BRIGHTEST, BRIGHTEST_GROUND


class SampleForm(Form):
    """One field of each kind, so that labels, help and errors can be looked at together."""

    temperature = forms.DecimalField(
        label="Air temperature at stop 3",
        help_text="In °C, read after two minutes in the open air.",
    )
    sky = forms.ChoiceField(
        label="Sky at the start",
        choices=[
            ("0", "Clear or a few clouds"),
            ("2", "Overcast"),
            ("5", "Drizzle, hearing not harmed"),
        ],
    )
    water = forms.ChoiceField(
        label="Water level",
        choices=[("dry", "Dry"), ("pools", "Pools"), ("full", "Full"), ("not-seen", "Not seen")],
        widget=forms.RadioSelect,
    )
    remarks = forms.CharField(
        label="Notes", required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    alone = forms.BooleanField(label="A second person was with me", required=False)


NAV = ["Tonight", "Review", "Seasons", "Trends", "Publications", "Program", "Guide"]


def design_context() -> dict[str, Any]:
    """Context for `web/design.html`; all of it invented."""
    form = SampleForm({"temperature": "94", "sky": "2", "remarks": ""})
    form.add_error(
        "temperature",
        "94 is too high for a reading in °C. Was it typed in °F? Then change the unit.",
    )
    return {
        "program": {"name": "Harrowmere calling survey"},
        "nav_items": [
            {
                "name": name,
                "url": f"#{name.lower()}",
                "current": name == "Review",
                "count": 14 if name == "Review" else 0,
            }
            for name in NAV
        ],
        "form": form,
        "clean_form": SampleForm(),
        "crumbs": [
            {"name": "Review", "url": "#"},
            {"name": "Alder Fen loop, 14 April 2026", "url": ""},
        ],
        "evening": [
            ("Sunset", "20:31", "at stop 1"),
            ("Earliest start", "21:01", "30 minutes after sunset"),
            ("Latest finish", "01:00", ""),
            ("Moon", "38% lit", "sets at 23:48"),
        ],
        "limits": [
            ("Air temperature", "at least 5.6 °C", ""),
            ("Wind", "Beaufort 3 or less", "leaves and twigs never still"),
            ("Listening", "5 minutes", ""),
        ],
        "night_limits": [
            (
                "Brightest color",
                f"relative luminance {BRIGHTEST:.2f}",
                "deep red, amber and dim white; white paper is 1",
            ),
            ("Ground of large areas", f"below {BRIGHTEST_GROUND}", "the same in all three"),
            ("Deep red", "no green, no blue", "spares eyes used to the dark most"),
            ("Amber", "no blue", "for eyes that do not see red well"),
            ("Dim white", "no color", "for any eyes; costs the dark most"),
        ],
        "findings": [
            ToldFinding(
                code="stops-overlap",
                severity=Severity.REFUSE,
                where=Where(stop=4, field="finished_at"),
                message="Listening ends before it starts: 22:14 to 22:09.",
                remedy="Check both times. A finish after midnight is fine.",
            ),
            ToldFinding(
                code="too-windy",
                severity=Severity.QUERY,
                where=Where(stop=7, field="beaufort"),
                message="Wind was Beaufort 4; the protocol allows 3.",
                remedy="If the reading is right, leave it. The coordinator decides.",
            ),
            ToldFinding(
                code="species-out-of-season",
                severity=Severity.NOTE,
                where=Where(species="Hyla versicolor"),
                message="Heard two weeks before its listed season.",
                remedy="",
            ),
        ],
        "map": _map(),
        "tabs": [
            {"name": "Grid", "url": "#", "current": True, "count": 0},
            {"name": "Findings", "url": "#", "current": False, "count": 3},
            {"name": "History", "url": "#", "current": False, "count": 0},
        ],
        "windows": [{"name": f"Window {n}", "url": "#", "current": n == 1} for n in (1, 2, 3)],
        "page_obj": Paginator(range(240), 20).page(3),
        "years": range(2015, 2027),
        "rows": [
            ("Alder Fen loop", [1, 2, 2, 3, None, 2, 2, 1, 0, 2, 3, 3]),
            ("Brackwater lanes", [0, 0, 1, 1, 1, "not-sure", 2, 2, 1, 1, 2, 2]),
            ("Coldharbour levels", [3, 3, 3, "not-reached", None, 3, 3, 2, 2, 2, 2, 1]),
            ("Dunmarsh road", [0, 0, 0, 0, 1, 1, 0, 0, 1, 0, 0, 0]),
        ],
        "species": [
            "Pseudacris crucifer",
            "Rana sylvatica",
            "Anaxyrus americanus",
            "Rana pipiens",
            "Hyla versicolor",
        ],
        "stops": [
            {
                "number": 1,
                "arrival": "21:03",
                "temperature": "9.4",
                "index": ["2", "0", "0", "1", "0"],
            },
            {
                "number": 2,
                "arrival": "21:14",
                "temperature": "9.2",
                "index": ["3", "1", "0", "1", "0"],
            },
            {
                "number": 3,
                "arrival": "21:26",
                "temperature": "94",
                "index": ["3", "0", "0", "0", "0"],
            },
            {"number": 4, "arrival": "21:37", "temperature": "8.9", "index": ["", "", "", "", ""]},
        ],
    }


def _map() -> dict[str, Any]:
    """Five invented stops, one in each state that a sign shows."""
    states = (
        {"first": True},
        {"state": "done"},
        {},
        {"state": "finding"},
        {"state": "not-reached"},
    )
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-90.7 + 0.02 * number, 45.05]},
            "properties": {"kind": "stop", "number": number, "name": f"Stop {number}", **state},
        }
        for number, state in enumerate(states, 1)
    ]
    return {"type": "FeatureCollection", "features": features}
