"""The page in the language a person chose, by a Jinja environment of its own.

Every value of a template is looked up on its way to the page. Within a tag only what people
read is (labels, descriptions): the value of a form's field must come back as it went out.
English has an environment without any of this.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

from flask import Flask, Request, g, has_request_context, request
from jinja2 import Environment, pass_context
from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream
from jinja2.runtime import Context
from markupsafe import Markup

from dashboard.db import options, reader
from dashboard.language import ENGLISH, Language
from dashboard.languages import Languages, languages
from monitor.store import names, settings
from monitor.store.errors import StoreError

SETTING = "language"
# Attributes whose text a person reads or hears.
READ_ALOUD = frozenset({"aria-label", "alt", "title", "placeholder", "data-said"})
_TAG = re.compile(r"</?[a-zA-Z][^\s>/]*|>|([^\s=<>\"'/]+)\s*=|[\"']")
_FIELD = re.compile(r"%\((\w+)\)s")


class AsItIs(str):
    """A text that the page must not translate: it stands where only the program reads."""

    __slots__ = ()


def as_it_is(value: object) -> object:
    """A template's filter: this value is for the program."""
    return AsItIs(value) if type(value) is str else value


class OnlyWhatIsRead(Extension):
    """Marks the values that stand within tags, but for those in attributes people read."""

    def filter_stream(self, stream: TokenStream) -> Iterator[Token]:
        """The template's tokens, with a filter put around each value that is not read."""
        place = Place()
        guarded = in_message = False
        before = ""
        for token in stream:
            if token.type == "data":
                place.read(token.value)
            elif token.type == "name" and before == "block_begin":
                # The values of a message are told apart when it is filled.
                in_message = token.value == "trans"
            elif token.type == "variable_end" and guarded:
                for kind, value in (("rparen", ")"), ("pipe", "|"), ("name", "as_it_is")):
                    yield Token(token.lineno, kind, value)
            yield token
            if token.type == "variable_begin":
                guarded = not in_message and not place.spoken
                if guarded:
                    yield Token(token.lineno, "lparen", "(")
            before = token.type


class Place:
    """Where in a page a template stands: in its text, or in which attribute of a tag."""

    def __init__(self) -> None:
        self.in_tag, self.attribute, self._mark, self._typed = False, "", "", False

    @property
    def spoken(self) -> bool:
        """Whether what is put here is read by a person, and is not what they typed."""
        return self.attribute in READ_ALOUD if self.in_tag else not self._typed

    def read(self, markup: str) -> None:
        """Go on over a stretch of markup."""
        for found in _TAG.finditer(markup):
            piece = found[0]
            if self._mark:
                if piece == self._mark:
                    self._mark, self.attribute = "", ""
            elif piece.startswith("<"):
                self.in_tag, self.attribute = True, ""
                self._typed = piece.lower() == "<textarea"
            elif not self.in_tag:
                continue
            elif piece == ">":
                self.in_tag, self.attribute = False, ""
            elif found[1]:
                self.attribute = found[1].lower()
            else:
                self._mark = piece


@lru_cache(maxsize=1000)
def _for_the_program(message: str) -> frozenset[str]:
    """The fields of a template's message that stand within its tags."""
    place, found, end = Place(), set(), 0
    for field in _FIELD.finditer(message):
        place.read(message[end : field.start()])
        end = field.end()
        if not place.spoken:
            found.add(field[1])
    return frozenset(found)


class Pages(Flask):
    """A Flask whose templates are those of the request's language."""

    @property
    def jinja_env(self) -> Any:
        """The environment of the language chosen; English's outside a request."""
        plain = self.__dict__.get("_english_env")
        if plain is None:
            plain = self.__dict__["_english_env"] = self.create_jinja_environment()
        if not has_request_context() or spoken().english:
            return plain
        translated = self.__dict__.get("_translated_env")
        if translated is None:
            translated = self.__dict__["_translated_env"] = _translated(plain)
        return translated


def _translated(plain: Environment) -> Environment:
    """The environment of every language but English; which, the request says."""
    made = plain.overlay(finalize=_finalize, extensions=[OnlyWhatIsRead])
    made.filters = dict(plain.filters) | {"as_it_is": as_it_is}
    made.globals = dict(plain.globals) | {"gettext": _gettext, "ngettext": _ngettext}
    return made


# These take a context so that Jinja does not work them out once for all requests.
@pass_context
def _finalize(_context: Context, value: Any) -> Any:
    return spoken().said(value) if type(value) is str else value


@pass_context
def _gettext(_context: Context, message: str, /, **values: Any) -> Markup:
    return _put(spoken(), spoken().message(message), values)


@pass_context
def _ngettext(_context: Context, one: str, many: str, num: int, /, **values: Any) -> Markup:
    return _put(spoken(), spoken().plural(one, many, num), {"num": num} | values)


def _put(language: Language, message: str, values: dict[str, Any]) -> Markup:
    """A message with its values, which are looked up as well."""
    kept = _for_the_program(message)
    return Markup(message) % {
        key: language.said(value) if type(value) is str and key not in kept else value
        for key, value in values.items()
    }


def spoken() -> Language:
    """The language of this request: what a person chose, where it is there, else English."""
    found: Language | None = g.get("language")
    if found is None:
        found = g.language = _chosen(request)
    return found


def _chosen(asked: Request) -> Language:
    if asked.path.startswith("/api/"):
        return ENGLISH  # programs read the words of the API as they are documented
    try:
        code = settings.get(reader(), SETTING, ENGLISH.code)
    except (StoreError, sqlite3.Error):
        return ENGLISH  # the page then says what is wrong with the store
    found = ENGLISH if code == ENGLISH.code else there().known.get(code, ENGLISH)
    return found if found.english else found.keeping(names.given(reader()))


def there() -> Languages:
    """The languages that may be chosen."""
    return languages(options().db_path)


def install(app: Flask) -> None:
    """Let every template know the language it is in."""

    @app.context_processor
    def everywhere() -> dict[str, object]:
        language = spoken() if has_request_context() else ENGLISH
        return {"language": language}
