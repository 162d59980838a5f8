"""What a page costs: its queries, the buffers that they read, its time beside theirs, its size."""

import json
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from statistics import median

from django.db import connection
from django.test import Client

RUNS = 3


@dataclass(frozen=True, kw_only=True)
class Cost:
    queries: int
    buffers: int
    kilobytes: float
    page_ms: float
    sql_ms: float

    @property
    def ratio(self) -> float:
        return self.page_ms / self.sql_ms if self.sql_ms else 0.0


class Statements:
    """Notes what is executed, to be executed again alone."""

    def __init__(self) -> None:
        self.noted: list[tuple[str, object]] = []

    def __call__(self, execute: Callable, sql: str, params: object, many: bool, context: dict):
        if not many:
            self.noted.append((sql, params))
        return execute(sql, params, many, context)

    @property
    def reading(self) -> list[tuple[str, object]]:
        return [noted for noted in self.noted if noted[0].lstrip().startswith(("SELECT", "WITH"))]


def cost_of(client: Client, address: str) -> Cost:
    """Of a page that was asked for once before, so that what is kept is kept. Times are medians,
    page and bare statements in turns."""
    client.get(address)
    statements = Statements()
    with connection.execute_wrapper(statements):
        response = client.get(address)
        body = b"".join(response) if response.streaming else response.content
    times = [(_ms(lambda: client.get(address)), _ms(lambda: _bare(statements.reading)))
             for _ in range(RUNS)]  # fmt: skip
    return Cost(
        queries=len(statements.noted),
        buffers=sum(_buffers(*statement) for statement in statements.reading),
        kilobytes=len(body) / 1000,
        page_ms=median(page for page, _ in times),
        sql_ms=median(sql for _, sql in times),
    )


def table(costs: dict[str, Cost]) -> str:
    """The dearest first."""
    lines = [
        "| page | queries | buffers | kB | ms | ms of its SQL | ratio |",
        "|---|" + "---:|" * 6,
    ]
    for name, one in sorted(costs.items(), key=lambda item: -item[1].page_ms):
        lines.append(
            f"| {name} | {one.queries} | {one.buffers} | {one.kilobytes:.0f} | {one.page_ms:.0f} |"
            f" {one.sql_ms:.1f} | {one.ratio:.1f} |"
        )
    return "\n".join(lines)


def _ms(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


def _bare(statements: Iterable[tuple[str, object]]) -> None:
    with connection.cursor() as cursor:
        for sql, params in statements:
            cursor.execute(sql, params)
            cursor.fetchall()


def rows_read(client: Client, address: str, tables: Collection[str]) -> dict[str, int]:
    """Of each of the tables, the rows that the most wasteful statement of a page looks at, those
    that it then leaves out too."""
    statements = Statements()
    with connection.execute_wrapper(statements):
        response = client.get(address)
        assert response.status_code == 200, address
        b"".join(response)
    most: Counter[str] = Counter()
    for statement in statements.reading:
        found: Counter[str] = Counter()
        _add_rows(_plan(*statement), found)
        most |= found
    return {table: most[table] for table in tables}


def _add_rows(plan: dict, found: Counter[str]) -> None:
    removed = sum(plan.get(f"Rows Removed by {why}", 0) for why in ("Filter", "Index Recheck"))
    found[plan.get("Relation Name", "")] += (plan["Actual Rows"] + removed) * plan["Actual Loops"]
    for part in plan.get("Plans", ()):
        _add_rows(part, found)


def _buffers(sql: str, params: object) -> int:
    """Blocks of 8 kB looked at, in memory or not."""
    plan = _plan(sql, params)
    return plan["Shared Hit Blocks"] + plan["Shared Read Blocks"]


def _plan(sql: str, params: object) -> dict:
    with connection.cursor() as cursor:
        cursor.execute(f"EXPLAIN (ANALYZE, BUFFERS, TIMING OFF, FORMAT JSON) {sql}", params)
        found = cursor.fetchone()[0]
    return (json.loads(found) if isinstance(found, str) else found)[0]["Plan"]
