"""The rows of the sentence table with field names turned into positions, once, at import."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from assistant.sensing.quantities import QUANTITIES, Quantity
from assistant.sensing.sentences import ROWS, Field, Row, Scale, field_names


@dataclass(frozen=True, slots=True)
class PlacedField:
    """A Field with names turned into positions (1 is the first after the address)."""

    quantity: str
    gate: Quantity
    at: int
    units: Mapping[str, Scale]
    by: int | None
    when: tuple[int, str] | None
    ddmm: bool
    second: int | None
    second_by: int | None
    how: str


@dataclass(frozen=True, slots=True)
class PlacedRow:
    fields: tuple[PlacedField, ...]
    valid: tuple[tuple[int, str], ...]
    time: int | None
    date: tuple[int, ...]
    position: bool


def _placed(row: Row) -> PlacedRow:
    at = {name: place for place, name in enumerate(field_names(row), start=1)}

    def placed(f: Field) -> PlacedField:
        return PlacedField(
            quantity=f.quantity,
            gate=QUANTITIES[f.quantity],
            at=at[f.name],
            units=f.units,
            by=at[f.by] if f.by else None,
            when=(at[f.when[0]], f.when[1]) if f.when else None,
            ddmm=f.form == "ddmm",
            second=at[f.with_name] if f.with_name else None,
            second_by=at[f.with_by] if f.with_by else None,
            how=f.how,
        )

    return PlacedRow(
        fields=tuple(placed(f) for f in row.fields),
        valid=tuple((at[name], letters) for name, letters in row.valid),
        time=at[row.time] if row.time else None,
        date=tuple(at[name] for name in row.date),
        position=any(f.quantity == "lat_deg" for f in row.fields),
    )


PLACED_ROWS: Mapping[tuple[str, int | None], PlacedRow] = {
    (row.kind, row.count): _placed(row) for row in ROWS
}
"""(type, number of fields or None for any number) -> row."""
