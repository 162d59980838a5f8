"""Cases of the rules on the program's own fields. The fields are invented: no source."""

from tests.support.rule_cases.writing import at, case, listened, rows, skipped


def field(key: str, per: str, **more: object) -> dict[str, object]:
    return {
        "key": key,
        "label": key.capitalize(),
        "kind": "number",
        "per": per,
        "required": True,
        **more,
    }


SALINITY = field("salinity", "stop", unit="ppt")
LEADER = field("leader", "visit", kind="text")

CASES = rows(
    {
        "own-field-missing": [
            case("the program has no fields of its own"),
            case(
                "filled in at one of two stops",
                at(2, "own.salinity"),
                stops=2,
                periods=[listened(1, own_filled=["salinity"]), listened(2)],
                own_fields=[SALINITY],
            ),
            case(
                "another field is filled in",
                at(1, "own.salinity"),
                periods=[listened(1, own_filled=["leader"])],
                own_fields=[SALINITY],
            ),
            case("not required", own_fields=[field("salinity", "stop", required=False)]),
            case("a stop that was skipped", periods=[skipped(1)], own_fields=[SALINITY]),
            case("asked once for the visit", at(field="own.leader"), own_fields=[LEADER]),
            case(
                "asked once and answered",
                own_fields=[LEADER],
                own_filled=["leader"],
            ),
            case(
                "answered at a stop where it is asked of the visit",
                at(field="own.leader"),
                periods=[listened(1, own_filled=["leader"])],
                own_fields=[LEADER],
            ),
        ],
    }
)
