"""A planned variant becomes a built one: the same from its own page, a suggestion's and the route."""

from __future__ import annotations

from doe.model.errors import DataError
from doe.web import urls
from doe.web.desk import Desk
from doe.web.factor_fields import blame
from doe.web.forms import bench_minutes_or_none
from doe.web.pages import slips_told

MINUTES = "Bench time it really took"
"""Label of the field of a form that says so."""


def told_at(error: str) -> str:
    """Return the field that a refusal is about, `unit` or `minutes`; empty if it is neither."""
    return "unit" if error.startswith("Unit ") else blame(error, ("unit", "minutes"))


def build_planned(desk: Desk, name: str, unit: str, minutes: str) -> str:
    """Say that a planned variant was built, and return the address where its readings are entered.

    Parameters
    ----------
    name : str
        Of the planned variant.
    unit : str
        A unit at hand, or the name of a new one.
    minutes : str
        Bench time as typed; may be empty.

    Raises
    ------
    DataError
        If the unit is missing or cannot carry it, or the minutes are no number.
    """
    if not unit:
        raise DataError("unit is empty; it must be a unit at hand, or the name of a new one.")
    known = [item.name for item in desk.view().snapshot.units]
    at_hand, new = (unit, None) if unit in known else (None, unit)
    logged = desk.project.log(
        {}, planned=name, minutes=bench_minutes_or_none(minutes, "minutes"), unit=at_hand, new_unit=new
    )
    desk.keep_said(logged.entry.id, slips_told(logged.notes), ())
    return urls.with_done(urls.readings(logged.variant.name), logged.entry.id)
