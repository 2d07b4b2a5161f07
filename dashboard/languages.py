"""The catalogues that are there: found beside the store and in the package, read with Babel."""

from __future__ import annotations

import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.language import ENGLISH, DateNames, Language

if TYPE_CHECKING:
    from babel import Locale

PACKAGED = Path(__file__).parent / "languages"
_CODE = re.compile(r"[a-z]{2,3}(_[A-Za-z0-9]{2,8})*")
# All the page may say is a fifth of a million bytes.
_LARGEST_BYTES = 4_000_000
_MOST_FORMS = 6  # that a language has for a count; Arabic's
_COUNTS_TRIED = 202  # the rules of all languages turn on the last two digits
_FORMS = re.compile(rb"nplurals\s*=\s*(\d+)", re.IGNORECASE)
_WRAPPED = re.compile(rb'"\s*"')  # a text goes on in the next line
_SHOWN_UNUSABLE = 60  # letters of a sentence that is quoted in a fault


@dataclass(frozen=True)
class Languages:
    """Every language there is by its code, English first, and what is wrong with the rest."""

    known: dict[str, Language]
    faults: tuple[str, ...]


def languages(store: Path) -> Languages:
    """The catalogues in the folder `languages` beside the store, else those of the package."""
    known, faults = {ENGLISH.code: ENGLISH}, []
    for file in _files(store):
        try:
            known_by = file.stat()
            if not stat.S_ISREG(known_by.st_mode):
                found, fault = None, f"{file.name} is not a file of text; remove it."
            else:
                found, fault = _read(file, known_by.st_mtime_ns, known_by.st_size)
        except OSError as error:
            found, fault = None, f"{file.name} cannot be read: {error.strerror}."
        if fault:
            faults.append(fault)
        if found is not None:
            known[found.code] = found
    return Languages(known, tuple(faults))


def _files(store: Path) -> list[Path]:
    found: dict[str, Path] = {}
    for folder in (PACKAGED, store.parent / "languages"):
        if folder.is_dir():
            found |= {file.stem: file for file in sorted(folder.glob("*.po"))}
    return [*found.values()]


@lru_cache(maxsize=64)
def _read(file: Path, _changed_ns: int, _size: int) -> tuple[Language | None, str]:
    """One catalogue as it stands on the disk, or why not, in words for its translator."""
    if _CODE.fullmatch(file.stem) is None or file.stem == ENGLISH.code:
        return None, f"{file.name} is not named by a language; expected a name like de.po."
    try:
        from babel.messages.pofile import PoFileError, read_po
    except ImportError:
        return None, f"{file.name} cannot be read without Babel: pip install 'pourside[language]'."
    with file.open("rb") as opened:
        text = opened.read(_LARGEST_BYTES + 1)
    if len(text) > _LARGEST_BYTES:
        return None, (
            f"{file.name} is larger than {_LARGEST_BYTES // 1_000_000} MB; expected the catalogue "
            "of this program alone."
        )
    # The reader makes room for as many forms as the file says, for each message.
    forms = [found[1] for found in _FORMS.finditer(_WRAPPED.sub(b"", text))]
    if any(len(one) > 1 or int(one) > _MOST_FORMS for one in forms):
        return None, f"{file.name} has over {_MOST_FORMS} forms of a plural; mend its nplurals."
    try:
        book = read_po(BytesIO(text), abort_invalid=True, charset="utf-8")
        plural_of = _plural_rule(book.plural_expr, book.num_plurals)
    except UnicodeDecodeError:
        return None, f"{file.name} is not UTF-8 text; save it as UTF-8."
    except PoFileError as error:
        line = "" if error.lineno is None else f" in line {error.lineno + 1}"
        return None, f"{file.name} is not a catalogue{line}: {error.args[0]}."
    except (ValueError, TypeError, LookupError, AttributeError, ArithmeticError) as error:
        return None, f"{file.name} is not a catalogue: {error}."
    messages: dict[str, str] = {}
    plurals: dict[tuple[str, str], tuple[str, ...]] = {}
    for message in book:
        if message.fuzzy or not message.id or not message.string:
            continue
        if isinstance(message.id, str):
            messages[message.id] = str(message.string)
        else:
            plurals[message.id[0], message.id[1]] = tuple(message.string)
    if not messages and not plurals:
        return None, (
            f"{file.name} has no translation in it; fill in its msgstr lines, and take out the "
            "mark 'fuzzy' where you agree."
        )
    names, rtl, own_name = _of_locale(file.stem)
    found = Language(file.stem, messages, plurals, plural_of, names, rtl, own_name)
    return found, _unusable_words(file, found)


def _plural_rule(expression: str, forms: int) -> Callable[[int], int]:
    """Which form a count has. Raises ValueError or ArithmeticError where a count has none."""
    from gettext import c2py

    rule: Callable[[int], int] = c2py(expression)
    for count in range(_COUNTS_TRIED):
        if not 0 <= rule(count) < forms:
            raise ValueError(f"a count of {count} has form {rule(count)}, and nplurals is {forms}")
    return rule


def _unusable_words(file: Path, found: Language) -> str:
    if not found.unusable:
        return ""
    first, count = found.unusable[0][:_SHOWN_UNUSABLE], len(found.unusable)
    more = f" and {count - 1} more" if count > 1 else ""
    return (
        f"{file.name}: the translation of '{first}'{more} does not keep the fields, tags and "
        "per cent signs of the English; it stays English."
    )


def _of_locale(code: str) -> tuple[DateNames | None, bool, str]:
    """Names of days and months, the direction, and what the language calls itself."""
    from babel import Locale, UnknownLocaleError

    try:
        locale = Locale.parse(code)
    except (UnknownLocaleError, ValueError):
        return None, False, code
    days, months = (named["format"]["abbreviated"] for named in (locale.days, locale.months))
    names = DateNames(
        tuple(_short(days[day]) for day in range(7)),
        tuple(_short(months[month]) for month in range(1, 13)),
    )
    return names, locale.text_direction == "rtl", _own_name(locale, code)


def _short(name: object) -> str:
    """A name without the full stop of an abbreviation, which would seem to end a sentence."""
    return str(name).removesuffix(".")


def _own_name(locale: Locale, code: str) -> str:
    name = locale.get_display_name(locale) or code
    return name[:1].upper() + name[1:]
