"""Which stages of a family are inspected at which place."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import PartFamily, Place, StationStage
from ..queries import family_by_code
from ..queries.stations import StationCard, place_id_of, station_named

if TYPE_CHECKING:
    from qcapp.people.models import Person

HIGHEST = 99


@transaction.atomic
def set_station(
    *, by: Person, place_code: str, family_code: str, stages: Sequence[int], at: datetime
) -> StationCard | None:
    """The stages of the family that are inspected at the place from now on; none takes the family away from it.

    Gives the station as it is now, None when nothing is left of it. Raises NotAllowed `not_permitted`; NotFound
    `place_unknown`, `family_unknown`; Invalid `stage_number`.
    """
    require(by, Act.KEEP_STATIONS, at)
    place = Place.objects.select_for_update().get(pk=place_id_of(place_code))
    family = PartFamily.objects.get(code=family_by_code(family_code).code)
    wanted = sorted(set(stages))
    if any(not 1 <= number <= HIGHEST for number in wanted):
        raise Invalid("stage_number", f"A stage is a number from 1 to {HIGHEST}, as the plan writes it.")
    StationStage.objects.filter(place=place, family=family).delete()
    StationStage.objects.bulk_create(StationStage(place=place, family=family, stage_number=one) for one in wanted)
    payload = {"family": family.code, "stages": wanted}
    audit.record(verb=Verb.STATION_SET, actor=by.uuid, subject=f"place {place.code}", at=at, payload=payload)
    return station_named(place.code)
