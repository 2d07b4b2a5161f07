"""A number and its unit stay on one line, whoever wrote the sentence and in whatever language.

Done to the finished page, so that forms, files and the API keep their plain spaces. What a
person may send back or copy (fields, menus, code) is left as it is; so are drawings, which
never break a line.
"""

from __future__ import annotations

import re

from flask import Flask, Response

_KEPT = re.compile(
    r"<(textarea|option|script|style|code|pre|svg|title|template)\b.*?</\1>|<[^>]*>",
    re.DOTALL | re.IGNORECASE,
)
# 'in' is an inch only where no word follows: '18 in all' is not one.
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:°[CF]|% ?RH|cm²|in²|[mcµ]?[mlg]|kg|fl oz|oz|min|h|d|s)(?!\w)"
    r"|in(?=[.,;:)]|$))"
)
_WITHIN = re.compile(r"(?<=\d\u00a0[hd]) (?=\d)|(?<=\d\u00a0fl) (?=oz)")


def joined(page: str) -> str:
    """The page with a no-break space between each number and its unit."""
    parts, end = [], 0
    for kept in _KEPT.finditer(page):
        parts += [_joined(page[end : kept.start()]), kept[0]]
        end = kept.end()
    return "".join([*parts, _joined(page[end:])])


def _joined(text: str) -> str:
    if not text or text.isspace():
        return text
    return _WITHIN.sub("\u00a0", _BEFORE_UNIT.sub("\u00a0", text))


def install(app: Flask) -> None:
    """Join the numbers and units of every page on its way out."""

    @app.after_request
    def unbroken(answer: Response) -> Response:
        if answer.mimetype == "text/html" and not answer.is_streamed:
            answer.set_data(joined(answer.get_data(as_text=True)))
        return answer
