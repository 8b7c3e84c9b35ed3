"""What a reader's SQL may be made of: one SELECT of known parts over named tables, by DuckDB's own parser.

Everything is refused that is not listed here, so that a part DuckDB gains one day is refused as well.
"""

import json
from collections.abc import Iterator
from collections.abc import Set as AbstractSet
from typing import Any

import duckdb

from warehouse.errors import AccessError
from warehouse.store import read_frame

_QUERIES = {
    "SELECT_NODE",
    "SET_OPERATION_NODE",
}  # a recursive query may name what it shadows, so none is taken
_SOURCES = {"BASE_TABLE", "SUBQUERY", "JOIN", "EMPTY", "EXPRESSION_LIST", "TABLE_FUNCTION"}
_MODIFIERS = {
    "ORDER_MODIFIER", "LIMIT_MODIFIER", "LIMIT_PERCENT_MODIFIER", "DISTINCT_MODIFIER",
    "ORDER_DEFAULT", "ASCENDING", "DESCENDING",
}  # fmt: skip
_EXPRESSIONS = {
    "COLUMN_REF", "VALUE_CONSTANT", "VALUE_PARAMETER", "STAR", "FUNCTION", "LAMBDA", "CASE_EXPR", "TYPE",
    "OPERATOR_CAST", "OPERATOR_TRY_CAST", "OPERATOR_NOT", "OPERATOR_IS_NULL", "OPERATOR_IS_NOT_NULL",
    "OPERATOR_COALESCE", "ARRAY_EXTRACT", "ARRAY_SLICE", "ARRAY_CONSTRUCTOR", "STRUCT_EXTRACT",
    "COMPARE_EQUAL", "COMPARE_NOTEQUAL", "COMPARE_LESSTHAN", "COMPARE_LESSTHANOREQUALTO",
    "COMPARE_GREATERTHAN", "COMPARE_GREATERTHANOREQUALTO", "COMPARE_DISTINCT_FROM",
    "COMPARE_NOT_DISTINCT_FROM", "COMPARE_BETWEEN", "COMPARE_IN", "COMPARE_NOT_IN",
    "CONJUNCTION_AND", "CONJUNCTION_OR",
    "WINDOW_AGGREGATE", "WINDOW_ROW_NUMBER", "WINDOW_RANK", "WINDOW_RANK_DENSE", "WINDOW_LAG", "WINDOW_LEAD",
    "WINDOW_FIRST_VALUE", "WINDOW_LAST_VALUE", "WINDOW_NTILE", "WINDOW_PERCENT_RANK",
}  # fmt: skip
_TYPES = _QUERIES | _SOURCES | _MODIFIERS | _EXPRESSIONS
_TABLE_FUNCTIONS = {"unnest", "range", "generate_series"}
# None of them looks past its arguments: at tables, files, settings, variables or the machine.
_FUNCTIONS = {
    "+", "-", "*", "/", "//", "%", "**", "^", "||", "~~", "!~~",
    "~~*", "!~~*", "abs", "arg_max", "arg_min", "array_agg", "avg", "bool_and", "bool_or", "ceil",
    "coalesce", "concat", "concat_ws", "contains", "corr", "count", "count_star", "date_diff",
    "date_part", "date_trunc", "datediff", "day", "dayofweek", "dense_rank", "exp", "first",
    "first_value", "floor", "greatest", "if", "isodow", "isfinite", "isnan", "lag", "last",
    "last_value", "lead", "least", "left", "len", "length", "list", "list_apply", "list_contains",
    "list_distinct", "list_extract", "list_filter", "list_has_any", "list_intersect", "list_position",
    "list_sort", "list_transform", "list_value", "ln", "log", "lower", "ltrim", "max", "max_by",
    "median", "min", "min_by", "mode", "month", "ntile", "nullif", "percent_rank", "pow", "power",
    "quantile_cont", "quantile_disc", "range", "rank", "regexp_extract", "regexp_matches",
    "regexp_replace", "replace", "right", "round", "row", "row_number", "rtrim", "sign", "split",
    "sqrt", "starts_with", "stddev", "stddev_pop", "stddev_samp", "strftime", "string_agg",
    "string_split", "strpos", "struct_extract", "struct_pack", "substr", "substring", "sum", "timezone",
    "trim", "trunc", "unnest", "upper", "var_pop", "var_samp", "variance", "week", "year",
}  # fmt: skip


_MOST_KNOWN = 4096
_known: dict[tuple[str, frozenset[str]], frozenset[str]] = {}


def check_select(
    connection: duckdb.DuckDBPyConnection, query: str, tables: AbstractSet[str]
) -> frozenset[str]:
    """Check that a query is one SELECT over these tables, made of known parts; returns the tables it names.

    The pages ask the same for every viewer and snapshot, so what was found in order before is known.

    Raises
        AccessError: it is not.
    """
    key = query, frozenset(tables)
    if key not in _known:
        named = _checked(connection, query, key[1])
        if len(_known) >= _MOST_KNOWN:
            _known.clear()
        _known[key] = named
    return _known[key]


def _checked(connection: duckdb.DuckDBPyConnection, query: str, tables: frozenset[str]) -> frozenset[str]:
    found = read_frame(connection, "SELECT json_serialize_sql(CAST(? AS VARCHAR))", [query])
    parsed: dict[str, Any] = json.loads(found.item())
    statements = parsed.get("statements", [])
    if parsed.get("error") or len(statements) != 1:
        reason = parsed.get("error_message", "one SELECT is expected")
        raise AccessError(f"A reader runs one SELECT and nothing else ({reason}).")
    _check(statements[0], tables)
    return tables & frozenset(_names(statements[0]))


def _names(part: Any) -> Iterator[str]:
    """The names of tables in a part of a parsed query, those of named queries among them."""
    if isinstance(part, dict) and part.get("type") == "BASE_TABLE":
        yield str(part["qualified_name"]["path"][0]).lower()
    for inner in part.values() if isinstance(part, dict) else part if isinstance(part, list) else ():
        yield from _names(inner)


def _check(part: Any, tables: frozenset[str]) -> None:
    """Check a part of a parsed query; `tables` are those it may name, with the queries named above it."""
    if isinstance(part, list):
        for inner in part:
            _check(inner, tables)
    elif isinstance(part, dict):
        kind = part.get("type")
        if isinstance(kind, str):
            _check_kind(kind, part, tables)
        if "cte_map" in part:
            for name, named in _named_queries(part):
                _check(named, tables)
                tables |= {name}
        for inner in (value for key, value in part.items() if key != "cte_map"):
            _check(inner, tables)


def _named_queries(query: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """The WITH of a query: each name and what it stands for, which may name those before it alone."""
    for entry in query["cte_map"]["map"]:
        yield str(entry["key"]).lower(), entry["value"]


def _check_kind(kind: str, part: dict[str, Any], tables: frozenset[str]) -> None:
    if kind not in _TYPES:
        raise AccessError(f"A reader's SELECT may not hold {kind}.")
    if kind == "BASE_TABLE":
        path = part.get("qualified_name", {}).get("path", [])
        if len(path) != 1 or str(path[0]).lower() not in tables or part.get("at_clause") is not None:
            raise AccessError(f"A reader has no table {'.'.join(map(str, path))}.")
    elif kind == "TABLE_FUNCTION":
        function = part.get("function", {})
        if function.get("type") != "FUNCTION" or function.get("function_name") not in _TABLE_FUNCTIONS:
            raise AccessError(f"A reader may not call {function.get('function_name')}().")
    if "function_name" in part:
        path = part.get("qualified_name", {}).get("path", [])
        if (
            len(path) != 1
            or str(part["function_name"]).lower() not in _FUNCTIONS
            or path[0] != part["function_name"]
        ):
            raise AccessError(f"A reader may not call {'.'.join(map(str, path))}().")
