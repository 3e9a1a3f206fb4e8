"""What a document says of a quote, before any format."""

from __future__ import annotations

from dataclasses import fields, replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from server.quoting.desk.lines import LineChoice
from server.quoting.papers.printed import Figures
from server.quoting.quote import Quote
from tests.quoting.papers.samples import a_full_quote, a_line, a_quote, a_view, summed


def test_every_line_is_printed_once_in_the_order_of_its_number() -> None:
    quote = a_full_quote(60)
    view = a_view(quote)
    assert [line.position for line in view.lines] == [str(i + 1) for i in range(60)]
    assert sorted(line.line.name for line in view.lines) == sorted(x.name for x in quote.lines)


def test_options_and_alternatives_stand_apart() -> None:
    view = a_view()
    assert [part.title for part in view.apart] == ["Options", "Alternatives"]
    included = {line.line.choice for block in view.blocks for line in block.lines}
    assert included == {LineChoice.INCLUDED}


@given(
    st.lists(st.integers(0, 300), max_size=12),
    st.decimals(0, 100, places=2),
    st.decimals(0, 5000, places=2),
)
def test_the_rows_below_the_lines_add_up(picked: list[int], off: Decimal, freight: Decimal) -> None:
    quote = summed(
        replace(
            a_quote(),
            lines=tuple(a_line(number) for number in picked),
            discount_percent=off,
            freight=freight,
        )
    )
    rows = {row.label.partition(",")[0]: row.amount for row in a_view(quote).sums}
    net = rows["Sum of all lines"] + rows.get("Discount", Decimal(0)) + rows.get("Freight", 0)
    assert rows.get("Net", net) == net
    assert net + rows["Tax"] == rows["Total"] == quote.total


def test_an_old_quote_without_taxes_by_rate_shows_its_tax() -> None:
    quote = a_quote(taxes=())
    assert [row.amount for row in a_view(quote).sums][-2:] == [quote.tax, quote.total]


def test_amounts_and_days_are_written_as_the_locale_wants() -> None:
    # Unicode common locale data, German: point between thousands, comma before the cents.
    german = Figures("EUR", "de_DE")
    assert german.money(Decimal("1204.50")) == "1.204,50\xa0€"
    assert german.bare(Decimal("1204.50")) == "1.204,50"
    assert german.percent(Decimal("8.1")) == "8,1 %"
    assert german.day(a_quote().day) == "2. März 2026"
    assert Figures("JPY", "en_GB").bare(Decimal(1204)) == "1,204"
    assert Figures("KWD", "en_GB").bare(Decimal("1204.5")) == "1,204.500"


def test_a_quote_holds_nothing_that_must_not_be_printed() -> None:
    # Costs and internal notes belong to the case; a field of that kind in `Quote` would be printed
    # by its JSON.
    names = {field.name for field in fields(Quote)}
    assert not {name for name in names if "cost" in name or "internal" in name}
