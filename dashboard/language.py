"""One language: what a sentence of the program is called in it.

The program speaks English sentences made of fixed words and of values. A sentence is looked up
as it stands; else it is recognised by the pattern it was made from ("The room falls below
{limit} at {when}"), its values are looked up in turn, and put into the translated pattern.
Joined sentences are looked up one by one. What is not recognised stays English.

Pure: a catalogue goes in as plain mappings. Recognising takes no regular expression made from a
catalogue, so no text and no catalogue can make it slow; and no text is ever formatted.

A catalogue is somebody's file, and templates put its messages on the page as they are. So a
translation has the tags of the English to the letter, and asks of `%` nothing but to put in a
value: a width of a few digits would fill the memory.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

from dashboard.patterns import (
    FIELD,
    MOST_TRIED,
    TEMPLATE_FIELD,
    WORD,
    Pattern,
    Patterns,
    forms_of,
    shares,
)

_SENTENCE_END = re.compile(r"(?<=[.!?])(\s+)(?=\S)")
# What sets sentences and phrases apart, the coarsest first.
_MARKS = (_SENTENCE_END, re.compile(r"(; )"), re.compile(r"(: |, )"))
_SEVERAL = re.compile(r"[.!?]\s+\S|; |[;:]$")  # more than one phrase
_BRACKETED = re.compile(r"(.+?) \((.+)\)(\.?)", re.DOTALL)
# A tag, or a mark that a browser may take for the begin or the end of one.
_TAG = re.compile(r"<[^<>]*>|[<>]")
# Letters that stay as they are in any language.
_SIGNS = frozenset({"mm", "ml", "cm", "cm²", "in²", "RH", "fl", "oz"})
_ENGLISH_DATES = "Mon Tue Wed Thu Fri Sat Sun Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"

_LONGEST = 2000  # letters; longer text is nobody's sentence
_DEEPEST = 6
_BLANKS = 12  # at which two phrases may meet
_TOGETHER = 4  # phrases that may be one message
_REMEMBERED = 4000

# A text in the language, and how many letters of it are still English.
Said = tuple[str, int]


@dataclass(frozen=True)
class DateNames:
    """Short names of the days from Monday, and of the months from January."""

    days: tuple[str, ...]
    months: tuple[str, ...]


class Language:
    """What the page speaks. Without a catalogue that is English, and every text stays."""

    def __init__(
        self,
        code: str = "en",
        messages: Mapping[str, str] | None = None,
        plurals: Mapping[tuple[str, str], Sequence[str]] | None = None,
        plural_of: Callable[[int], int] = lambda n: int(n != 1),
        names: DateNames | None = None,
        rtl: bool = False,
        own_name: str = "English",
    ) -> None:
        self.code, self.names, self.rtl, self.own_name = code, names, rtl, own_name
        self._plural_of = plural_of
        self._messages: dict[str, str] = {}
        self._plurals: dict[tuple[str, str], list[str]] = {}
        # Sentences whose fields or tags differ from the English ones; they stay English.
        self.unusable: list[str] = []
        for source, target in (messages or {}).items():
            if not target or not source:
                continue
            if _usable(source, target):
                self._messages[source] = target
            else:
                self.unusable.append(source)
        for (one, many), targets in (plurals or {}).items():
            usable = [_usable_for_counts(one, many, target) for target in targets]
            self._plurals[one, many] = [
                target if good else "" for target, good in zip(targets, usable, strict=True)
            ]
            if not all(usable):
                self.unusable.append(one)
        self._exact = {shares(key): said for key, said in self._messages.items()}
        self._exact |= {
            key.replace("%%", "%"): said.replace("%%", "%")
            for key, said in self._messages.items()
            if "%%" in key and not TEMPLATE_FIELD.search(key)
        }
        self._index: Patterns | None = None
        dates = _ENGLISH_DATES if names is None else " ".join((*names.days, *names.months))
        self._signs = _SIGNS | {*WORD.findall(dates)}
        self._kept: frozenset[str] = frozenset()
        self._keeping: Language | None = None
        self._known: dict[str, Said | None] = {}

    @property
    def english(self) -> bool:
        """Whether nothing is translated."""
        return not self._messages and not self._plurals

    def keeping(self, names: frozenset[str]) -> Language:
        """The same language, which leaves these texts as they are: people gave them."""
        kept = self._keeping
        if kept is None or kept._kept != names:
            self._patterns()
            kept = copy(self)
            kept._kept, kept._known = names, {}
            self._keeping = kept
        return kept

    def said(self, text: str) -> str:
        """A text of the page in this language; unchanged where it is not known."""
        if not self._messages or not text or text in self._kept:
            return text
        found = self._look(shares(text), 0)
        return text if found is None else found[0]

    def message(self, source: str) -> str:
        """A template's message, ready for `%`; English where the translation would not format."""
        target = self._messages.get(source)
        return source if target is None else _formatting(source, target)

    def plural(self, one: str, many: str, count: int) -> str:
        """A template's message for so many."""
        english = one if count == 1 else many
        forms = self._plurals.get((one, many), ())
        try:
            target = forms[self._plural_of(count)]
        except (IndexError, ValueError, TypeError, ArithmeticError):
            return english
        return _formatting(english, target) if target else english

    def _look(self, text: str, depth: int) -> Said | None:
        """A text translated, None where nothing of it is known."""
        if text in self._known:
            return self._known[text]
        if depth > _DEEPEST or len(text) > _LONGEST or not WORD.search(text):
            return None
        bare = text.strip()
        found = self._best(bare, depth)
        if found is not None and bare != text:
            at = text.index(bare)
            found = text[:at] + found[0] + text[at + len(bare) :], found[1]
        if len(self._known) >= _REMEMBERED:
            self._known.clear()
        self._known[text] = found
        return found

    def _best(self, text: str, depth: int) -> Said | None:
        """The way to read a text that leaves the fewest letters English."""
        if text in self._kept:
            return text, 0
        best = self._sentence(text, depth)
        if best is not None and best[1] == 0:
            return best
        mark = next((one for one in _MARKS if one.search(text)), None)
        split = self._beside(text, depth) if mark is None else self._joined(text, mark, depth)
        best = _better(best, split)
        if (best is None or best[1]) and text.endswith((")", ").")):
            best = _better(best, self._bracketed(text, depth))
        return self._sentence(text, depth, loose=True) if best is None else best

    def _sentence(
        self, text: str, depth: int, loose: bool = False, over: re.Pattern[str] | None = None
    ) -> Said | None:
        """One message, in the case and with the full stop of its place.

        `over` a mark: the text has it, and so must the message.
        """
        forms = [*forms_of(text)]
        for form, mended in forms:
            said = self._exact.get(form)
            if said is not None:
                return mended(said), 0
        near = [
            one for one in self._patterns().near(text) if over is None or over.search(one.source)
        ]
        best: Said | None = None
        for form, mended in forms if near else ():
            found = self._by_pattern(form, near, depth, loose)
            if found is not None:
                best = _better(best, (mended(found[0]), found[1]))
                if found[1] == 0:
                    break
        return best

    def _by_pattern(self, text: str, near: list[Pattern], depth: int, loose: bool) -> Said | None:
        best: Said | None = None
        tried = 0
        for pattern in near:
            for values in pattern.readings(text):
                if not loose and any(_SEVERAL.search(one) for one in values):
                    continue
                best = _better(best, self._filled(pattern, values, depth))
                tried += 1
            if tried >= MOST_TRIED or (best is not None and best[1] == 0):
                break
        return best

    def _filled(self, pattern: Pattern, values: list[str], depth: int) -> Said | None:
        """A pattern with its values looked up; None where it says too little by itself."""
        found = [self._look(value, depth + 1) for value in values]
        parts = [self._or_english(*pair) for pair in zip(values, found, strict=True)]
        if pattern.weak and any(left or not words for words, left in parts):
            return None
        words = pattern.filled([words for words, _ in parts]).strip()
        return words, sum(left for _, left in parts)

    def _joined(self, text: str, mark: re.Pattern[str], depth: int) -> Said | None:
        """Phrases after one another: as many together as the catalogue knows."""
        pieces = mark.split(text)
        if len(pieces) == 1:
            return None
        out: list[Said] = []
        known, start = False, 0
        while start < len(pieces):
            most = min(len(pieces) - start, 2 * _TOGETHER - 1)
            for count in range(most - (most + 1) % 2, 0, -2):
                words = "".join(pieces[start : start + count])
                if count == 1:
                    found = self._look(words, depth + 1)
                elif count == len(pieces):
                    found = None  # the whole was tried before
                else:
                    found = self._sentence(words, depth + 1, over=mark)
                if found is not None:
                    known = True
                    break
            out.append(self._or_english(words, found))
            out += [(between, 0) for between in pieces[start + count : start + count + 1]]
            start += count + 1
        return _together(out) if known else None

    def _bracketed(self, text: str, depth: int) -> Said | None:
        """A phrase with another in brackets after it."""
        parts = _BRACKETED.fullmatch(text)
        if parts is None:
            return None
        found = [self._look(parts[number], depth + 1) for number in (1, 2)]
        if found == [None, None]:
            return None
        outer, inner = (self._or_english(parts[n + 1], one) for n, one in enumerate(found))
        return f"{outer[0]} ({inner[0]}){parts[3]}", outer[1] + inner[1]

    def _beside(self, text: str, depth: int) -> Said | None:
        """Two phrases with nothing but a blank between them, both known: 'too cold' 'since 9'."""
        blanks = [found.start() for found in re.finditer(" ", text)][:_BLANKS]
        for at in reversed(blanks):
            left, right = text[:at], text[at + 1 :]
            said = next((mend(self._exact[one]) for one, mend in forms_of(left, False)
                         if one in self._exact), None)  # fmt: skip
            if said is None and self._letters(left):
                continue
            found = self._look(right, depth + 1)
            if found is None and said is not None and not self._letters(right):
                found = right, 0
            if found is not None and found[1] == 0:
                return f"{left if said is None else said} {found[0]}", 0
        return None

    def _letters(self, text: str) -> int:
        """Letters of words that are still to be translated."""
        words = WORD.findall(text)
        return sum(len(word) for word in words if len(word) > 1 and word not in self._signs)

    def _or_english(self, text: str, found: Said | None) -> Said:
        return (text, self._letters(text)) if found is None else found

    def _patterns(self) -> Patterns:
        if self._index is None:
            self._index = Patterns(self._messages)
        return self._index


ENGLISH = Language()


def _fields(text: str) -> set[str]:
    """The names of the fields, those of templates marked apart."""
    return {*FIELD.findall(text)} | {f"%{name}" for name in TEMPLATE_FIELD.findall(text)}


def _usable(source: str, target: str) -> bool:
    """Whether a translation may stand for the English."""
    formatted = "%%" in source or TEMPLATE_FIELD.search(source) is not None
    return (
        _fields(source) == _fields(target)
        and _tags(source) == _tags(target)
        and not (formatted and _odd_sign(target))
    )


def _usable_for_counts(one: str, many: str, target: str) -> bool:
    """Whether one form of a message that counts may stand for the English."""
    return (
        _fields(target) <= _fields(one) | _fields(many) | {"%num"}
        and _tags(target) in (_tags(one), _tags(many))
        and not _odd_sign(target)
    )


def _tags(text: str) -> Counter[str]:
    """The tags with all that is in them."""
    return Counter(_TAG.findall(text))


def _odd_sign(text: str) -> bool:
    """Whether `%` would do more to a text than put its values in."""
    return "%" in TEMPLATE_FIELD.sub("", text.replace("%%", ""))


def _formatting(english: str, target: str) -> str:
    """The translation where it formats as the English does, else the English."""
    if _odd_sign(target):
        return english
    # Between the marks of an attribute a straight one would end it.
    return target if '"' in english else target.replace('"', "&#34;")


def _better(one: Said | None, other: Said | None) -> Said | None:
    """Of two translations the one with less English left; the first where they are equal."""
    if one is None or other is None:
        return other if one is None else one
    return other if other[1] < one[1] else one


def _together(parts: list[Said]) -> Said:
    return "".join(words for words, _ in parts), sum(left for _, left in parts)
