"""What the reference scripts share: the --check option, comparing and writing JSON."""

import argparse
import json
import math
import sys
import warnings
from pathlib import Path

FOLDER = Path(__file__).resolve().parent


def checking(doc):
    """Parse the command line; true when only a comparison was asked for."""
    parser = argparse.ArgumentParser(
        description=doc, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--check", action="store_true", help="compare with the committed values"
    )
    return parser.parse_args().check


def plain(value, digits=12):
    """Plain JSON values: floats to so many significant digits, null for nan and inf."""
    if isinstance(value, dict):
        return {str(key): plain(item, digits) for key, item in value.items()}
    if hasattr(value, "tolist"):
        return plain(value.tolist(), digits)
    if isinstance(value, (list, tuple)):
        return [plain(item, digits) for item in value]
    if isinstance(value, float):
        return float(f"{value:.{digits}g}") + 0.0 if math.isfinite(value) else None
    return value


def dump(tables):
    """JSON text of a dictionary of lists, one record a line."""
    parts = []
    for name, table in tables.items():
        if isinstance(table, list):
            lines = ",\n".join(
                "    " + json.dumps(row, ensure_ascii=False) for row in table
            )
            parts.append(f"  {json.dumps(name)}: [\n{lines}\n  ]")
        else:
            parts.append(
                f"  {json.dumps(name)}: {json.dumps(table, ensure_ascii=False)}"
            )
    return "{\n" + ",\n".join(parts) + "\n}\n"


def differences(old, new, where="", relative=1e-9, absolute=1e-15):
    """Yield a line for every place where two JSON values differ."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in list(old) + [key for key in new if key not in old]:
            if key not in old or key not in new:
                yield f"{where}/{key}: only in the {'new' if key in new else 'committed'} values"
            else:
                yield from differences(
                    old[key], new[key], f"{where}/{key}", relative, absolute
                )
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{where}: {len(old)} items committed, {len(new)} now"
        for index, (left, right) in enumerate(zip(old, new)):
            yield from differences(left, right, f"{where}/{index}", relative, absolute)
    elif isinstance(old, float) and isinstance(new, (int, float)):
        if not math.isclose(old, new, rel_tol=relative, abs_tol=absolute):
            yield f"{where}: {old!r} committed, {new!r} now"
    elif old != new:
        yield f"{where}: {old!r} committed, {new!r} now"


def stop_on(problems, name):
    """Exit with a message if there are problems."""
    problems = list(problems)
    if problems:
        shown = problems[:20] + (
            [f"and {len(problems) - 20} more"] if problems[20:] else []
        )
        sys.exit(f"reference {name}: DIFFERS\n  " + "\n  ".join(shown))


def write_or_compare(doc, tables, file):
    """Write the tables, or compare the committed ones with them, as the command line asks."""
    check = checking(doc)
    warnings.simplefilter("error")
    new = tables()
    count = sum(len(table) for table in new.values() if isinstance(table, list))
    path = FOLDER / file
    if not check:
        path.write_bytes(dump(new).encode())
        print(f"wrote {path.name}: {count} rows")
        return
    stop_on(differences(json.loads(path.read_text(encoding="utf-8")), new), path.name)
    print(f"reference {path.name}: {count} rows agree")
