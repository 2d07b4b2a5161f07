"""The sentences of a catalogue that have fields, and which of them a text may be.

No regular expression is made from a catalogue: what is between the fields is looked for as it
stands, from the left, which takes time in proportion to the text.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

FIELD = re.compile(r"\{(\w+)\}")
TEMPLATE_FIELD = re.compile(r"%\((\w+)\)s")
WORD = re.compile(r"[^\W\d_]+")
# The core writes '48 % RH' and '12 %', the page '48 %RH' and '12%': the same sentence.
_SHARE = re.compile(r"(?<=\d) %( ?RH)?")
_SHARE_OF_FIELD = re.compile(r"(?<=\}) %( ?RH)?")
# A sentence with a metric unit after a value is the same with the other unit a person chose.
_UNITS = (("} °C", "} °F"), ("} mm", "} in"), ("} cm²", "} in²"))
_WEAK_LETTERS = 6  # '{a} to {b}' alone would recognise half of all text
MOST_TRIED = 8  # patterns and readings of one text


def shares(text: str, where: re.Pattern[str] = _SHARE) -> str:
    """One way to write a share, and one for humidity, whoever wrote the sentence."""
    return where.sub(lambda found: " %RH" if found[1] else "%", text)


class Pattern:
    """A sentence with fields: what is between them must be there, what is in them is free."""

    def __init__(self, source: str, target: str) -> None:
        self.source = source
        parts = FIELD.split(source)
        self.literals: list[str] = parts[::2]
        self._places = {name: number for number, name in enumerate(parts[1::2])}
        self._target: list[str] = FIELD.split(target)
        self.letters = sum(len(word) for word in WORD.findall(" ".join(self.literals)))
        self.weak = self.letters < _WEAK_LETTERS
        last = len(self.literals) - 1
        # The words that a text of this pattern has for certain, each by itself: one that
        # touches a field may be the end of a longer one.
        self.words = frozenset(
            found[0]
            for number, literal in enumerate(self.literals)
            for found in WORD.finditer(literal)
            if (number == 0 or found.start() > 0) and (number == last or found.end() < len(literal))
        )

    def readings(self, text: str) -> Iterator[list[str]]:
        """What may stand in the fields; nothing where the text is not of this pattern.

        The leftmost place of each literal finds a reading wherever there is one. Only where a
        mere blank parts two fields are there several worth a look.
        """
        first, *between, last = self.literals
        trimmed = between[-1].rstrip() if between and not last else ""
        if trimmed and text.endswith(trimmed):
            # An empty last value, and the blank before it gone with it.
            text += between[-1][len(trimmed) :]
        end = len(text) - len(last)
        if not text.startswith(first) or not text.endswith(last) or end < len(first):
            return
        blank = between.index(" ") if " " in between else -1
        for skipped in range(MOST_TRIED if blank >= 0 else 1):
            place, found = len(first), []
            for number, literal in enumerate(between):
                at = text.find(literal, place, end)
                for _ in range(skipped if number == blank else 0):
                    at = text.find(literal, at + 1, end) if at >= 0 else at
                if at < 0:
                    return
                found.append(text[place:at])
                place = at + len(literal)
            yield [*found, text[place:end]]

    def filled(self, values: Sequence[str]) -> str:
        """The translation with these values."""
        return "".join(
            values[self._places[part]] if number % 2 else part
            for number, part in enumerate(self._target)
        )


class Patterns:
    """All the patterns of a catalogue, each under the word of it that is in the fewest others."""

    def __init__(self, messages: Mapping[str, str]) -> None:
        made = [
            pattern
            for source, target in messages.items()
            if FIELD.search(source) and not TEMPLATE_FIELD.search(source)
            for pattern in _in_all_units(shares(shares(source), _SHARE_OF_FIELD), target)
        ]
        often = Counter(word for pattern in made for word in pattern.words)
        self._under: dict[str, list[Pattern]] = {}
        for pattern in made:
            if pattern.words:
                rarest = min(pattern.words, key=lambda word: (often[word], word))
                self._under.setdefault(rarest, []).append(pattern)

    def near(self, text: str) -> list[Pattern]:
        """The patterns whose words are all in a text; those with most words first."""
        words = {*WORD.findall(text)}
        first = WORD.match(text)
        if first is not None:
            words.add(first[0][:1].swapcase() + first[0][1:])
        found = [one for word in words for one in self._under.get(word, ()) if one.words <= words]
        return sorted(found, key=lambda one: (-one.letters, one.source))


def _in_all_units(source: str, target: str) -> Iterator[Pattern]:
    yield Pattern(source, target)
    for metric, other in _UNITS:
        if metric in source:
            yield Pattern(source.replace(metric, other), target.replace(metric, other))


def forms_of(text: str, stopped: bool = True) -> Iterator[tuple[str, Callable[[str], str]]]:
    """A sentence as it may stand in the catalogue, and how to mend its translation.

    `stopped` allows for a full stop that is here and not there, or there and not here.
    """
    turned = text[:1].swapcase() + text[1:]
    upper = text[:1].isupper()

    def as_here(said: str) -> str:
        return (said[:1].upper() if upper else said[:1].lower()) + said[1:]

    yield text, str
    yield turned, as_here
    if not stopped:
        return
    if text.endswith("."):
        yield text[:-1], lambda said: f"{said}."
        yield turned[:-1], lambda said: f"{as_here(said)}."
    elif text[-1:] not in "!?:;,":
        yield f"{text}.", lambda said: said.removesuffix(".")
        yield f"{turned}.", lambda said: as_here(said).removesuffix(".")
