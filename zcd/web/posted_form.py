"""What a form of the page sends: a few short texts, and perhaps a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response

from zcd.web.guard import LONGEST_QUERY, TOO_LONG

LONGEST_SAID = 200
MAX_FIELDS = 40
MAX_TEXTS, LONGEST_FORM = 500, LONGEST_QUERY
"""Of a sheet that sends all its fields."""


@dataclass(frozen=True, slots=True)
class PostedForm:
    """What was sent.

    Parameters
    ----------
    texts : dict
        Name of a field -> what stood in it.
    file : bytes or None
    file_name : str
    """

    texts: dict[str, str]
    file: bytes | None = None
    file_name: str = ""

    def said(self, name: str) -> str:
        """The text of a field in one line; empty where there is none."""
        return " ".join(self.texts.get(name, "").split())


async def message_of(request: Request) -> PostedForm:
    """Read a form, or refuse it: malformed, too many fields, or too long ones."""
    texts: dict[str, str] = {}
    data, name = None, ""
    try:
        async with request.form(max_files=1, max_fields=MAX_FIELDS) as form:
            for key, value in form.multi_items():
                if isinstance(value, UploadFile):
                    data, name = await value.read(), (value.filename or "")[:LONGEST_SAID]
                else:
                    texts[key] = value
    except ClientDisconnect as error:  # who left, or sent more than is taken
        raise HTTPException(400, "found a message that does not come to its end") from error
    if len(texts) > MAX_FIELDS or any(len(text) > LONGEST_SAID for text in texts.values()):
        raise HTTPException(400, f"allowed: {MAX_FIELDS} fields of {LONGEST_SAID} letters")
    return PostedForm(texts, data, name)


async def sent(request: Request) -> dict[str, str]:
    """Read a form of short texts only, all of whose names may be new."""
    body = (await request.body()).decode("utf-8", errors="replace")
    if len(body) > LONGEST_FORM:
        raise HTTPException(413, TOO_LONG)
    try:
        return dict(parse_qsl(body, keep_blank_values=True, max_num_fields=MAX_TEXTS))
    except ValueError as error:
        raise HTTPException(400, f"found too many fields; allowed: {MAX_TEXTS}") from error


def posted(act: Callable[[Request, dict[str, str]], Response]) -> Callable[[Request], Any]:
    """What answers a form of short texts, once that is read."""

    async def endpoint(request: Request) -> Response:
        return await run_in_threadpool(act, request, await sent(request))

    return endpoint
