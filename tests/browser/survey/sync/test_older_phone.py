"""A phone that stored route and draft with the survey as it first was: the draft opens, is gone on
with and is submitted. The files of the survey are renewed by themselves, what is stored is not."""

from typing import Any

import pytest

from surveys.models import Visit, VisitState
from tests.browser.survey.sync.handset import Handset
from tests.support.builders import make_route

pytestmark = pytest.mark.django_db(transaction=True)

PEEPER = "pseudacris-crucifer"
# What packets and visits have come to hold since, by where it stands; `*` is each of them there.
ADDED_TO_PACKETS = (
    "companions contacts practice program.emergency_number program.emergency_contact route.region "
    "route.rain_unit route.stops.*.id route.stops.*.road route.stops.*.county land look_alikes "
    "own_fields surveyed nights.*.season_year nights.*.qualified nights.*.hours nights.*.closed "
    "species.*.note species.*.members"
)
ADDED_TO_VISITS = "stops in_force judged_by back withdrawn"
TAKE_AWAY = """async ([packets, visits]) => {
  const { getAll, put } = await import("/static/survey/store.js");
  const without = (value, [name, ...rest]) => {
    if (!value) return;
    const inner = name === "*" ? Object.keys(value) : [name];
    for (const key of inner) rest.length ? without(value[key], rest) : delete value[key];
  };
  for (const [store, places] of [["packets", packets], ["visits", visits]])
    for (const record of await getAll(store)) {
      for (const place of places.split(" ")) without(record, place.split("."));
      await put(store, record);
    }
}"""


@pytest.fixture
def phone(open_phone, observer, program, checklist) -> Handset:
    made = open_phone(observer)
    made.begin(make_route(program).code)
    made.tap_species(1, PEEPER)
    made.write_notes("mist")
    return made


def stored(phone: Handset) -> list[dict[str, Any]]:
    return phone.page.evaluate(
        "() => import('/static/survey/store.js').then(({ getAll }) => getAll('packets'))"
    )


def test_a_draft_of_the_first_survey_is_gone_on_with(phone):
    # Without a network it is loaded again from what the worker has stored.
    phone.page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    phone.set_offline(True)
    phone.page.evaluate(TAKE_AWAY, [ADDED_TO_PACKETS, ADDED_TO_VISITS])
    (packet,) = stored(phone)
    assert "look_alikes" not in packet
    assert "id" not in packet["route"]["stops"][0]
    phone.reload()
    assert phone.shown_index(1, PEEPER) == "1"
    assert phone.shown_notes() == "mist"
    phone.tap_species(1, PEEPER)
    phone.tap_species(2, PEEPER)
    phone.pick("start.beaufort", "2 light breeze")
    phone.page.evaluate("location.hash = '#/home'")
    phone.page.get_by_role("button", name="a draft").wait_for()
    phone.set_offline(False)
    phone.submit()
    phone.page.get_by_text("This visit is submitted").first.wait_for()
    assert phone.problems == []
    visit = Visit.objects.get()
    assert visit.state == VisitState.SUBMITTED
    heard = {f"stops.1.calls.{PEEPER}": "2", f"stops.2.calls.{PEEPER}": "1"}
    assert visit.cells.items() >= {**heard, "start.beaufort": "2", "notes": "mist"}.items()
    assert visit.periods.count() == 2
