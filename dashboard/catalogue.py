"""The catalogue of all the page may say, gathered from the source: what a translator fills in.

From templates come the messages they mark; from Python every constant and every f-string that
reads like words, its values turned into named fields. What no person reads (keys, SQL, formats)
is left out by where it stands and what it looks like; a little of it slips through.

    python -m dashboard.catalogue words.pot
"""

from __future__ import annotations

import ast
import io
import re
import string
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path

HOUSE = Path(__file__).parent.parent
# Whatever these rooms say may come to a page; the store and the edges say it to logs alone.
SPEAKING = (
    "dashboard/*.py", "monitor/answers/*.py", "monitor/core/vocabulary.py",
    "monitor/core/cure/*.py", "monitor/core/alarms/*.py", "monitor/core/room/*.py",
    "monitor/store/*.py", "monitor/channels/*.py", "monitor/watch.py", "monitor/daemon.py",
    "monitor/data/*.toml",
)  # fmt: skip
# Speak to programs alone.
SILENT = frozenset(
    {
        "openapi.py",
        "exports.py",
        "api.py",
        "feeds.py",
        "catalogue.py",
        "language.py",
        "patterns.py",
        "schema.py",
    }
)
JINJA = {"trimmed": "true", "newstyle_gettext": "true", "trim_blocks": "true",
         "lstrip_blocks": "true", "silent": "false"}  # fmt: skip

# What these are given is for the program: addresses, keys, formats, column names.
_FOR_THE_PROGRAM = frozenset({
    "Blueprint", "NewType", "TypeVar", "add", "add_url_rule", "attrgetter", "compile", "connect",
    "endswith", "execute", "executemany", "field", "finditer", "form", "fullmatch", "get",
    "getLogger", "getattr", "index", "isinstance", "literal", "match", "matmul", "pop", "post",
    "redirect", "removeprefix", "removesuffix", "render_template", "route", "search",
    "setdefault", "split", "startswith", "strftime", "sub", "url_for", "where",
    "debug", "info", "warning", "error", "exception", "einsum", "namedtuple", "encode", "decode",
})  # fmt: skip
_MARKUP = re.compile(r"</?[a-z]|[=]\"|/>|^data:")
_PROGRAM_WORDS = re.compile(
    r"""
    ^[\w.]*_[\w.]*$ | ^[./#?&] | ^%[-a-zA-Z] | ://         # names, addresses, formats
    | \b(SELECT|INSERT|UPDATE|DELETE|PRAGMA|WHERE|CREATE|NULL)\b | =\ \? | \bIN\ \( | ->>
    | \b\w+_ms\b                                           # columns
    | ^[a-z]+/[a-z.-]+(;\ .*)?$ | ^X- | ^[A-Z][a-z]+-[A-Z] | ^utf-8$   # kinds, headers
    | ^[\w{}-]+[.:][\w{}.-]+$ | ^\w+\ \|\ \w+$ | ^[-,\w]+,[-,\w]+$     # keys, unions, lists
    | ^[a-z_\ ]*[a-z]_[a-z][a-z_\ ]*$
    | ^(?=.*_)[\w.()]+(,\ [\w.()]+)+$ | ^[^ ]*(\{\w+\}_|_\{\w+\})[^ ]*$
    """,
    re.VERBOSE,
)
_LETTERS = re.compile(r"[^\W\d_]{2,}")
# A sentence begun elsewhere goes on with one of these; the part has no mark of its own.
_JOINTS = " ,;:\n"
_MOST_BRANCHES = 16


@dataclass
class Found:
    """The messages, each with where it was found; `plural` where a template counts."""

    places: dict[str, set[str]] = field(default_factory=dict)
    plural: dict[str, str] = field(default_factory=dict)

    def add(self, message: str, place: str) -> None:
        """Note one message."""
        self.places.setdefault(message, set()).add(place)


def extracted(house: Path = HOUSE) -> Found:
    """Everything the page may say. Raises ImportError without Babel."""
    found = Found()
    for pattern in SPEAKING:
        for file in sorted(house.glob(pattern)):
            if file.name in SILENT:
                continue
            place = file.relative_to(house).as_posix()
            words = _of_toml(file) if file.suffix == ".toml" else _of_python(file)
            for message in words:
                found.add(message, place)
    _of_templates(house / "dashboard" / "templates", found)
    return _alike_once(found)


def _alike_once(found: Found) -> Found:
    """Sentences that differ in the names of their fields alone are one message."""
    kept = Found(plural=found.plural)
    first: dict[str, str] = {}
    for message, places in sorted(found.places.items()):
        one = first.setdefault(re.sub(r"(?<!%)\{\w+\}", "{}", message), message)
        for place in places:
            kept.add(one, place)
    return kept


def pot(found: Found) -> str:
    """The catalogue as the text of a .pot file."""
    from babel.messages.catalog import Catalog
    from babel.messages.pofile import write_po

    book = Catalog(project="Pourside", charset="utf-8", fuzzy=False)
    for message, places in sorted(found.places.items(), key=lambda one: (min(one[1]), one[0])):
        many = found.plural.get(message)
        # Only template messages are formatted by `%`; a sentence's fields are plain {names}.
        book.add((message, many) if many else message,
                 locations=[(place, None) for place in sorted(places)])  # type: ignore[misc]  # fmt: skip
    out = io.BytesIO()
    write_po(out, book, width=0, omit_header=False, include_lineno=False)
    return out.getvalue().decode()


def _of_templates(folder: Path, found: Found) -> None:
    from jinja2.ext import babel_extract

    for file in sorted(folder.glob("*.html")):
        place = file.relative_to(folder.parent.parent).as_posix()
        with file.open("rb") as opened:
            for _, _, message, _ in babel_extract(opened, ("_", "gettext", "ngettext"), (), JINJA):
                if isinstance(message, str):
                    found.add(message, place)
                elif message and message[0]:
                    found.add(message[0], place)
                    if len(message) > 1 and message[1]:
                        found.plural[message[0]] = message[1]


def _of_toml(file: Path) -> Iterator[str]:
    """The notes of the library; names of resins and recipes among them."""
    import tomllib

    def walk(value: object) -> Iterator[str]:
        if isinstance(value, dict):
            for key, inner in value.items():
                if key in ("name", "note", "source") or not isinstance(inner, str):
                    yield from walk(inner)
        elif isinstance(value, list):
            for inner in value:
                if not isinstance(inner, str):
                    yield from walk(inner)
        elif isinstance(value, str):
            yield from messages_of(value)

    yield from walk(tomllib.loads(file.read_text(encoding="utf-8")))


def _of_python(file: Path) -> Iterator[str]:
    """The words of one file. In the core a single word is often a key."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    for words in _words(tree, keyed="dashboard" not in file.parts[-2:]):
        yield from messages_of(words)


def messages_of(words: str) -> Iterator[str]:
    """The messages in a text of the source: its parts that a page may set apart, if words."""
    words = words.strip(_JOINTS).removesuffix(" (")
    if reads_like_words(words):
        yield words


def reads_like_words(text: str) -> bool:
    """Whether a person would read this, by its looks."""
    bare = re.sub(r"\{\w+\}", " ", text)
    if not _LETTERS.search(bare) and not re.search(r"(?<=\} )[a-z]\b", text):
        return False
    if _MARKUP.search(text) or _PROGRAM_WORDS.search(text):
        return False
    # 'key=value', 'a|b' and the like are nobody's sentence.
    return not re.fullmatch(r"[\w{}]+[=|/\\<>*+][^ ]*", text)


def _words(node: ast.AST, keyed: bool) -> Iterator[str]:
    """Every text that may reach a person, its values as named fields."""
    if isinstance(node, ast.Constant):
        if isinstance(node.value, str):
            yield _named_fields(node.value)
    elif isinstance(node, ast.JoinedStr):
        yield from (_numbered(text) for text in _texts_of(node))
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from _words(part.value, keyed)
    else:
        keys = _keys_in(node) if keyed else ()
        for child in _for_people(node):
            if not any(child is key for key in keys):
                yield from _words(child, keyed)


def _keys_in(node: ast.AST) -> list[ast.expr]:
    """Single words that name something: given first, by keyword, or listed."""
    given: list[ast.expr] = []
    if isinstance(node, ast.Call):
        given = node.args[:1]
    elif isinstance(node, ast.keyword):
        given = [node.value]
    elif isinstance(node, ast.Tuple | ast.List | ast.Set):
        given = node.elts
    return [
        one
        for one in given
        if isinstance(one, ast.Constant)
        and isinstance(one.value, str)
        and re.fullmatch(r"[a-z-]+", one.value)
    ]


def _for_people(node: ast.AST) -> Iterator[ast.AST]:
    """The parts of a piece of source that may hold words."""
    if isinstance(node, ast.Compare | ast.Subscript | ast.Import | ast.ImportFrom | ast.Global):
        if isinstance(node, ast.Subscript):
            yield node.value
        return
    if isinstance(node, ast.Dict):
        yield from node.values
    elif isinstance(node, ast.Call):
        name = getattr(node.func, "attr", getattr(node.func, "id", ""))
        if name == "_rule" and isinstance(node.args[0], ast.Constant):
            # A rule's key is its name, read with blanks.
            key = str(node.args[0].value).replace("_", " ").capitalize()
            yield ast.Constant(value=key)
        whole = name not in _FOR_THE_PROGRAM
        said_by = node.func.value if isinstance(node.func, ast.Attribute) else None
        if said_by is not None and (whole or not isinstance(said_by, ast.Constant)):
            yield said_by
        if whole:
            yield from node.args
            yield from node.keywords
    elif isinstance(node, ast.AnnAssign):
        if node.value is not None:
            yield node.value
    elif isinstance(node, ast.Assign):
        names = {getattr(target, "id", "") for target in node.targets}
        aliases = isinstance(node.value, ast.Subscript)  # Answer = Literal[...]
        if not aliases and names != {"__all__"}:
            yield node.value
    elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        yield from node.args.defaults
        yield from _undocumented(node.body)
    elif isinstance(node, ast.ClassDef | ast.Module):
        yield from _undocumented(node.body)
    else:
        yield from ast.iter_child_nodes(node)


def _undocumented(body: list[ast.stmt]) -> list[ast.stmt]:
    first = body[0] if body else None
    told = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
    return body[1:] if told else body


def _texts_of(node: ast.JoinedStr) -> list[str]:
    """The texts an f-string may make: one for each way through its conditions."""
    ways: list[list[str]] = []
    for part in node.values:
        if isinstance(part, ast.Constant):
            ways.append([str(part.value).replace("{", "").replace("}", "")])
        elif isinstance(part, ast.FormattedValue):
            ways.append(_ways(part))
    count = 1
    for way in ways:
        count *= len(way)
    if count > _MOST_BRANCHES:
        ways = [way[:1] for way in ways]
    return ["".join(parts) for parts in product(*ways)]


def _ways(part: ast.FormattedValue) -> list[str]:
    value = part.value
    if isinstance(value, ast.IfExp):
        return [text for branch in (value.body, value.orelse) for text in _branch(branch)]
    share = part.format_spec is not None and "%" in ast.unparse(part.format_spec)
    return ["{" + _name_of(value) + "}" + ("%" if share else "")]


def _branch(node: ast.expr) -> list[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return _texts_of(node)
    if isinstance(node, ast.IfExp):
        return [*_branch(node.body), *_branch(node.orelse)]
    return ["{" + _name_of(node) + "}"]


def _name_of(node: ast.expr) -> str:
    """A word for a value, from the source: what a translator sees in the braces."""
    if isinstance(node, ast.Name):
        return node.id.strip("_") or "value"
    if isinstance(node, ast.Attribute):
        return node.attr.strip("_")
    if isinstance(node, ast.Call):
        inner = node.args[0] if node.args else node.func
        if isinstance(inner, ast.Name | ast.Attribute | ast.Call):
            return _name_of(inner)
        return _name_of(node.func)
    if isinstance(node, ast.Subscript):
        return _name_of(node.value)
    if isinstance(node, ast.BinOp):
        return _name_of(node.right if isinstance(node.left, ast.Constant) else node.left)
    return "value"


def _numbered(text: str) -> str:
    """Two fields of one name told apart."""
    seen: dict[str, int] = {}

    def named(found: re.Match[str]) -> str:
        seen[found[1]] = count = seen.get(found[1], 0) + 1
        return f"{{{found[1]}{'' if count == 1 else count}}}"

    return re.sub(r"\{(\w+)\}", named, text)


def _named_fields(text: str) -> str:
    """A text for `format`, its fields as names: '{}' is a value, '{:.1f}' too."""
    if "{" not in text:
        return text
    try:
        parts = [*string.Formatter().parse(text)]
    except ValueError:
        return text
    out = ""
    for literal, name, _, _ in parts:
        known = None if name is None else re.sub(r"\W.*", "", name) or "value"
        out += literal + ("" if known is None else f"{{{known}}}")
    return _numbered(out)


def main(arguments: list[str]) -> int:
    """Write the catalogue to the file named, or to standard output."""
    if len(arguments) > 1 or (arguments and arguments[0].startswith("-")):
        sys.stderr.write("usage: python -m dashboard.catalogue [FILE]\n")
        return 2
    try:
        found = extracted()
        text = pot(found)
    except ImportError as error:
        sys.stderr.write(f"{error}: pip install 'pourside[language]'\n")
        return 1
    if arguments:
        Path(arguments[0]).write_text(text, encoding="utf-8")
        sys.stderr.write(f"{len(found.places)} messages are in {arguments[0]}.\n")
    else:
        sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
