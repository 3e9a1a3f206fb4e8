"""Numbers without gaps: taken in the same transaction as the row that carries them."""

from __future__ import annotations

from sqlalchemy.dialects.sqlite import insert
from sqlmodel import Session, col

from server.store.tables import NumberSeries


def next_number(session: Session, series: str, year: int) -> int:
    """Take the next number of a series in a year, from 1.

    Parameters
    ----------
    session : Session
        A writing session; when it is rolled back, the number is free again.
    series : str
        Such as ``quote``.
    year : int
        Each year starts anew.
    """
    taken = insert(NumberSeries).values(series=series, year=year, last=1)
    counted = taken.on_conflict_do_update(
        index_elements=["series", "year"], set_={"last": col(NumberSeries.last) + 1}
    ).returning(col(NumberSeries.last))
    number: int = session.execute(counted).scalar_one()
    return number
