"""What people called their things: names and notes that no language may change."""

from __future__ import annotations

import sqlite3

_MOST_LETTERS = 80  # a longer text is taken for no word of the program


def given(con: sqlite3.Connection) -> frozenset[str]:
    """Names and short notes as they were typed.

    A layer that was given no name bears its resin's; that is not of its person's making.
    """
    rows = con.execute(
        "SELECT name FROM pieces UNION SELECT name FROM sensors "
        "UNION SELECT name FROM layers WHERE name NOT IN "
        "(SELECT json_extract(profile, '$.name') FROM resins) "
        "UNION SELECT note FROM pieces UNION SELECT note FROM marks UNION SELECT note FROM bottles "
        "UNION SELECT batch FROM layers"
    )
    return frozenset(row[0] for row in rows if row[0] and len(row[0]) <= _MOST_LETTERS)
