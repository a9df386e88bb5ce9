"""Questions that the desk's store answers in words of its own. Pure text."""

from agent.store.schema import own_fields


def minutes_sql(kind: str, field: str) -> str:
    """As MINUTES_SQL of a terminal's own store, from minutes and single readings alike."""
    ends = own_fields(kind)[field] is not bool
    low, high = (f'coalesce("{field}_{end}", "{field}")' if ends else f'"{field}"' for end in ("low", "high"))
    place = ' AND "where" = :place' if kind == "temperature" else " AND :place = ''"
    return (
        "SELECT floor(unix_s / :step) * :step + :offset AS unix_s,"
        f' sum("{field}" * n) / sum(n) AS middle, min({low}) AS low, max({high}) AS high FROM "{kind}"'
        f' WHERE terminal = :terminal AND unix_s >= :start AND unix_s < :end + 60 AND "{field}" IS NOT NULL'
        f"{place} GROUP BY 1 ORDER BY 1"
    )
