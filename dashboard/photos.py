"""Photos of marks: taken in small and without metadata, served as plain JPEG, deleted on asking."""

from __future__ import annotations

import hashlib

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.exceptions import RequestEntityTooLarge
from werkzeug.wrappers import Response as Answer

from dashboard import shrinking, wording
from dashboard.api import answer, plain
from dashboard.db import acting, now_s, reader
from dashboard.going import back, refused
from dashboard.views import local
from monitor.core.vocabulary import Mark
from monitor.store import changes, marks, photos, pieces
from monitor.store.errors import StoreError

photo_pages = Blueprint("photos", __name__)

# The photo itself, and the few words that travel with it in one form.
UPLOAD_BYTES = shrinking.MOST_BYTES + 64 * 1024


@photo_pages.app_context_processor
def in_templates() -> dict[str, object]:
    """Templates may ask for the photos of a layer, by mark."""
    return {"photos_of": lambda layer_id: photos.of_layer(reader(), layer_id)}


def allow_photo() -> None:
    """Let this request be as large as a photo; every other stays small."""
    request.max_content_length = UPLOAD_BYTES


def sent_photo() -> shrinking.Picture | None:
    """The photo among what was sent, made small; None where there is none.

    Raises RefusedPicture, in words, for what cannot be taken.
    """
    try:
        sent = request.files.get("photo")
    except RequestEntityTooLarge:
        raise shrinking.RefusedPicture(
            f"The photo is larger than the {shrinking.MOST_BYTES / 1e6:.1f} MB that are taken; "
            "choose a smaller size in the camera"
        ) from None
    if sent is None or not sent.filename:
        return None
    return shrinking.shrunk(sent.stream.read(shrinking.MOST_BYTES + 1))


@photo_pages.post("/marks/<int:number>/photo")
def attach(number: int) -> Answer | tuple[str, int]:
    """Put a photo beside a mark that was logged before."""
    allow_photo()
    try:
        picture = sent_photo()
    except shrinking.RefusedPicture as error:
        return refused([str(error)])
    if picture is None:
        return refused(["No photo was chosen; choose one, then send it"])
    try:
        with acting() as con:
            photos.add(con, number, now_s(), picture.width, picture.height, picture.jpeg)
    except StoreError as error:
        return refused([str(error)])
    return back()


@photo_pages.get("/photos/<int:number>.jpg")
def full(number: int) -> Response:
    """The photo as it is kept."""
    return _served(number, thumb=False)


@photo_pages.get("/photos/<int:number>/small.jpg")
def small(number: int) -> Response:
    """The photo as a list shows it."""
    return _served(number, thumb=True)


def _served(number: int, thumb: bool) -> Response:
    jpeg = photos.picture(reader(), number)
    if jpeg is None:
        abort(404, f"There is no photo {number}. It may have been deleted.")
    made = Response(mimetype="image/jpeg")
    # A number can be given again after a photo was deleted, so a browser asks each time.
    made.headers["Cache-Control"] = "private, no-cache"
    made.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    made.headers["Content-Disposition"] = f'inline; filename="photo-{number}.jpg"'
    made.set_etag(hashlib.sha256(jpeg).hexdigest()[:20] + ("-small" if thumb else ""))
    made.make_conditional(request)
    if made.status_code == 200:
        made.data = shrinking.shrunk(jpeg, shrinking.THUMB_PX, 70).jpeg if thumb else jpeg
    return made


@photo_pages.get("/photos/<int:number>/delete")
def ask_delete(number: int) -> str:
    """Are you sure? With the photo in sight."""
    found, mark = _found(number)
    words = f"{wording.MARK_NAMES[mark.kind]}, {local().full(mark.at_s)}"
    return render_template("delete_photo.html", photo=found, words=words)


@photo_pages.post("/photos/<int:number>/delete")
def delete(number: int) -> Answer:
    """Delete a photo for good; the mark stays."""
    _, mark = _found(number)
    with acting() as con:
        photos.remove(con, number, now_s())
        piece = changes.piece_of(con, "marks", mark.id)
    return redirect(url_for("pages.piece", number=piece))


def _found(number: int) -> tuple[photos.Photo, Mark]:
    con = reader()
    found = photos.photo(con, number)
    mark = None if found is None else marks.mark(con, found.mark_id)
    if found is None or mark is None:
        abort(404, f"There is no photo {number}. It may have been deleted already.")
    return found, mark


@photo_pages.get("/api/v1/layers/<int:number>/marks")
def marks_of(number: int) -> Response:
    """A layer's marks in order of time, each with where its photos are."""
    con = reader()
    if pieces.layer(con, number) is None:
        abort(404, f"There is no layer {number}.")
    held = photos.of_layer(con, number)
    return answer(
        [
            {
                **plain(one),
                "photos": [
                    {"id": p.id, "width": p.width, "height": p.height, "url": f"/photos/{p.id}.jpg"}
                    for p in held.get(one.id, ())
                ],
            }
            for one in marks.marks(con, number)
        ]
    )


@photo_pages.post("/api/v1/marks/<int:number>/photos")
def add_photo(number: int) -> Response:
    """Put a photo beside a mark: the body is the picture itself."""
    allow_photo()
    if marks.mark(reader(), number) is None:
        abort(404, f"There is no mark {number}.")
    try:
        picture = shrinking.shrunk(request.get_data(cache=False))
        with acting() as con:
            made = photos.add(con, number, now_s(), picture.width, picture.height, picture.jpeg)
    except (shrinking.RefusedPicture, StoreError) as error:
        abort(422, str(error))
    return answer({"id": made, "width": picture.width, "height": picture.height}, 201)
