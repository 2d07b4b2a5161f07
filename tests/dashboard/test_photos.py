"""Photos of marks: what is taken in, what is taken out of it, how it is served and deleted."""

from __future__ import annotations

import base64
import io
import json
import struct
import zlib
from contextlib import closing

import pytest
from PIL import ExifTags, Image, ImageDraw

from dashboard.app import create_app
from dashboard.options import Options
from dashboard.shrinking import LONGEST_PX, MOST_BYTES, RefusedPicture, shrunk
from monitor import assembly, shelf
from monitor.store import changes, connection, marks, photos, pieces, resins
from monitor.store.connection import writing
from monitor.store.errors import StoreError

T0 = 1_790_000_000.0
NOW = T0 + 3600.0
RED, BLUE = (200, 30, 30), (30, 30, 200)


@pytest.fixture
def client(store_path):
    """The page over one layer with one mark."""
    with closing(connection.open_owner(store_path)) as con, writing(con):
        for profile in shelf.library():
            resins.save_resin(con, profile, T0, origin="library")
        piece = pieces.add_piece(con, "Tray", T0)
        coating = resins.resin(con, "coating_2_1")
        layer = pieces.add_layer(con, piece, "Flood", coating, T0, T0, depth_mm=3.0)
        marks.add_mark(con, layer, "tacky", T0 + 600)
    options = Options(store_path, lambda: NOW, zone="Europe/Lisbon", **assembly.page_parts())
    return create_app(options).test_client()


def picture(kind="JPEG", size=(300, 200), mode="RGB", **options):
    """A picture with a red left half and a blue right half."""
    image = Image.new("RGB", size, BLUE)
    ImageDraw.Draw(image).rectangle((0, 0, size[0] // 2 - 1, size[1]), fill=RED)
    out = io.BytesIO()
    image.convert(mode).save(out, kind, **options)
    return out.getvalue()


def opened(jpeg):
    return Image.open(io.BytesIO(jpeg))


def near(pixel, colour):
    # JPEG at quality 80 moves a flat colour by a few steps of 255.
    return max(abs(a - b) for a, b in zip(pixel, colour, strict=True)) < 12


def test_a_photo_is_made_smaller_and_stays_in_shape():
    made = shrunk(picture(size=(4000, 3000)))
    assert (made.width, made.height) == (LONGEST_PX, 1200)
    assert opened(made.jpeg).size == (LONGEST_PX, 1200)
    assert opened(made.jpeg).format == "JPEG"


def test_a_small_photo_keeps_its_size():
    assert (shrunk(picture()).width, shrunk(picture()).height) == (300, 200)


@pytest.mark.parametrize(
    ("held", "size", "top_left", "bottom_right"),
    # Source: EXIF 2.3, tag 274: where row 0 and column 0 of the stored picture belong.
    [(1, (300, 200), RED, BLUE), (2, (300, 200), BLUE, RED), (3, (300, 200), BLUE, RED),
     (4, (300, 200), RED, BLUE), (5, (200, 300), RED, BLUE), (6, (200, 300), RED, BLUE),
     (7, (200, 300), BLUE, RED), (8, (200, 300), BLUE, RED), (77, (300, 200), RED, BLUE)],
)  # fmt: skip
def test_a_photo_stands_upright_however_the_phone_was_held(held, size, top_left, bottom_right):
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = held
    made = opened(shrunk(picture(exif=exif)).jpeg)
    assert made.size == size
    assert near(made.getpixel((5, 5)), top_left)
    assert near(made.getpixel((size[0] - 6, size[1] - 6)), bottom_right)


def test_place_time_camera_comment_and_profile_are_taken_out():
    exif = Image.Exif()
    exif[ExifTags.Base.Make] = "SecretCamera"
    exif[ExifTags.Base.DateTime] = "2026:09:21 14:00:00"
    exif[ExifTags.IFD.GPSInfo] = {1: "N", 2: (38.0, 43.0, 0.0), 3: "W"}
    sent = picture(
        exif=exif, comment=b"SecretComment", icc_profile=b"SecretProfile" * 20,
        xmp=b"<x>SecretPlace</x>",
    )  # fmt: skip
    assert opened(sent).getexif().get_ifd(ExifTags.IFD.GPSInfo)[1] == "N"
    made = shrunk(sent).jpeg
    assert not opened(made).getexif()
    assert not set(opened(made).info) - {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for marker in (b"Secret", b"Exif", b"ICC_PROFILE", b"2026:09", b"http"):
        assert marker not in made


def test_words_hidden_in_a_png_are_taken_out():
    from PIL import PngImagePlugin

    words = PngImagePlugin.PngInfo()
    words.add_itxt("Location", "SecretPlace")
    assert b"Secret" not in shrunk(picture("PNG", pnginfo=words)).jpeg


def test_what_follows_a_photo_in_its_file_is_left_out():
    assert b"hidden" not in shrunk(picture() + b"hidden").jpeg


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "MPO"])
def test_the_kinds_that_phones_send_are_read(kind):
    made = opened(shrunk(picture(kind)).jpeg)
    assert made.format == "JPEG"
    assert near(made.getpixel((10, 10)), RED)


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "CMYK", "1"])
def test_every_way_to_write_a_pixel_becomes_plain_colour(mode):
    kind = "JPEG" if mode == "CMYK" else "PNG"
    assert opened(shrunk(picture(kind, mode=mode)).jpeg).mode == "RGB"


def test_what_is_clear_becomes_white():
    out = io.BytesIO()
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(out, "PNG")
    assert near(opened(shrunk(out.getvalue()).jpeg).getpixel((5, 5)), (255, 255, 255))


def png_bomb(width, height):
    """A PNG that says it is huge; its bytes are few."""

    def chunk(name, body):
        crc = struct.pack(">I", zlib.crc32(name + body))
        return struct.pack(">I", len(body)) + name + body + crc

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(bytes(100_000))) + chunk(b"IEND", b"")
    )  # fmt: skip


def webp_bomb(width, height):
    """A WebP whose canvas is huge; it has no picture worth the name."""
    size = struct.pack("<I", width - 1)[:3] + struct.pack("<I", height - 1)[:3]
    body = b"WEBPVP8X" + struct.pack("<I", 10) + bytes(4) + size
    return b"RIFF" + struct.pack("<I", len(body)) + body


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"just words, no photo", "no photo that is read here"),
        (b"GIF89a" + bytes(50), "no photo that is read here"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "no photo that is read here"),
        (b"\x00\x00\x00\x18ftypheic" + bytes(40), "HEIC or AVIF.*send it as JPEG"),
        (b"\x00\x00\x00\x18ftypmif1" + bytes(40), "HEIC or AVIF"),
        (picture()[:400], "broken or was cut short"),
        (picture("PNG", size=(600, 600))[:300], "broken or was cut short"),
        (picture("WEBP")[:60], "broken or was cut short"),
        (b"\xff\xd8\xff" + bytes(500), "broken or was cut short"),
        (b"\x89PNG\r\n\x1a\n" + bytes(500), "broken or was cut short"),
        (png_bomb(6000, 6000), "36 million pixels where 26"),
        (png_bomb(12_000, 12_000), "too large"),
        (png_bomb(60_000, 60_000), "too large"),
        (webp_bomb(16_000, 16_000), "broken or was cut short|too large"),
        (b"\xff\xd8\xff" + bytes(MOST_BYTES), "at most 12.6 are taken"),
    ],
)  # fmt: skip
def test_what_is_no_photo_is_refused_in_words(data, said):
    with pytest.raises(RefusedPicture, match=said):
        shrunk(data)


@pytest.mark.filterwarnings("ignore:Corrupt EXIF:UserWarning")
def test_a_broken_note_of_how_the_phone_was_held_is_passed_over():
    plain = picture()
    exif = b"Exif\x00\x00II*\x00\xff\xff\xff\x7f"
    segment = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    made = shrunk(plain[:2] + segment + plain[2:])
    assert (made.width, made.height) == (300, 200)


def send(client, path, data=None, **fields):
    """A form with a photo in it, as a browser sends it."""
    parts = [
        f'Content-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = b'Content-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\n'
    parts.append(head + (picture() if data is None else data) + b"\r\n")
    body = b"".join(b"--edge\r\n" + part for part in parts) + b"--edge--\r\n"
    return client.post(path, data=body, content_type="multipart/form-data; boundary=edge")


def held(store_path):
    with closing(connection.open_reader(store_path)) as con:
        return photos.of_layer(con, 1)


def test_a_photo_goes_with_a_mark_in_one_act(client, store_path):
    answer = send(client, "/layers/1/marks", kind="tack_free", back="/#logged-1")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/#logged-1")
    [(mark, [photo])] = held(store_path).items()
    assert (mark, photo.width, photo.height) == (2, 300, 200)
    for path in ("/", "/pieces/1", "/pieces/1/record"):
        text = client.get(path).get_data(as_text=True)
        assert 'src="/photos/1/small.jpg"' in text
        assert 'alt="Photo: Tack-free' in text


def test_a_mark_without_a_photo_is_one_tap_as_before(client, store_path):
    empty = {"kind": "hard", "photo": (io.BytesIO(b""), "")}
    answer = client.post("/layers/1/marks", data=empty, content_type="multipart/form-data")
    assert answer.status_code == 302
    assert held(store_path) == {}


def test_a_photo_is_added_to_a_mark_afterwards(client, store_path):
    assert send(client, "/marks/1/photo").status_code == 302
    assert [one.mark_id for one in held(store_path)[1]] == [1]
    assert "Tacky: photo added" in client.get("/pieces/1").get_data(as_text=True)


def test_a_refused_photo_logs_no_mark(client, store_path):
    answer = send(client, "/layers/1/marks", b"no photo", kind="hard")
    assert answer.status_code == 422
    assert "send it as JPEG, PNG or WebP" in answer.get_data(as_text=True)
    with closing(connection.open_reader(store_path)) as con:
        assert [mark.kind for mark in marks.marks(con, 1)] == ["tacky"]


def test_a_photo_for_a_mark_that_is_gone_is_refused(client):
    answer = send(client, "/marks/99/photo")
    assert (answer.status_code, "no mark 99" in answer.get_data(as_text=True)) == (422, True)


def test_a_mark_keeps_a_few_photos_and_no_more(client, store_path):
    for _ in range(photos.MOST):
        assert send(client, "/marks/1/photo").status_code == 302
    answer = send(client, "/marks/1/photo")
    assert "the most it can keep; delete one first" in answer.get_data(as_text=True)
    assert len(held(store_path)[1]) == photos.MOST


def test_only_a_photo_may_be_as_large_as_one(client):
    large = bytes(300 * 1024)
    assert send(client, "/marks/1/photo", picture() + large).status_code == 302
    assert send(client, "/marks/1/photo", bytes(MOST_BYTES + 100_000)).status_code == 422
    assert send(client, "/settings", large).status_code == 413
    assert client.post("/api/v1/marks/1/photos", data=bytes(MOST_BYTES * 2)).status_code == 413


def test_a_photo_is_served_as_a_jpeg_and_nothing_else(client):
    send(client, "/marks/1/photo", picture("PNG", size=(900, 600)))
    full, small = client.get("/photos/1.jpg"), client.get("/photos/1/small.jpg")
    for answer in (full, small):
        assert answer.mimetype == "image/jpeg"
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "private, no-cache"
        assert answer.headers["Content-Disposition"].startswith("inline")
        again = client.get(
            answer.request.path, headers={"If-None-Match": answer.headers["ETag"]}
        )  # fmt: skip
        assert (again.status_code, again.data) == (304, b"")
    assert opened(full.data).size == (900, 600)
    assert opened(small.data).size == (320, 213)
    assert full.headers["ETag"] != small.headers["ETag"]
    assert client.get("/photos/9.jpg").status_code == 404
    assert client.get("/photos/9/small.jpg").status_code == 404


def test_a_photo_is_deleted_after_a_question(client, store_path):
    send(client, "/marks/1/photo")
    asked = client.get("/photos/1/delete").get_data(as_text=True)
    assert "Delete this photo?" in asked
    assert "Tacky" in asked
    assert len(held(store_path)[1]) == 1
    assert client.post("/photos/1/delete").headers["Location"] == "/pieces/1"
    assert held(store_path) == {}
    assert client.get("/photos/1/delete").status_code == 404
    assert client.post("/photos/1/delete").status_code == 404
    assert "Tacky: photo deleted" in client.get("/pieces/1").get_data(as_text=True)


def test_photos_go_with_their_piece(client, store_path):
    send(client, "/marks/1/photo")
    client.post("/pieces/1/delete", data={"confirm": "Tray"})
    assert client.get("/photos/1.jpg").status_code == 404


def test_a_mark_taken_back_hides_its_photo_until_it_returns(client):
    send(client, "/marks/1/photo")
    client.post("/marks/1/remove")
    assert "/photos/1/" not in client.get("/pieces/1").get_data(as_text=True)
    client.post("/marks/1/restore")
    assert "/photos/1/" in client.get("/pieces/1").get_data(as_text=True)


def test_programs_send_and_find_photos(client):
    made = client.post("/api/v1/marks/1/photos", data=picture(), content_type="image/jpeg")
    assert (made.status_code, made.get_json()["width"]) == (201, 300)
    [mark] = client.get("/api/v1/layers/1/marks").get_json()
    assert mark["photos"] == [{"id": 1, "width": 300, "height": 200, "url": "/photos/1.jpg"}]
    assert client.post("/api/v1/marks/1/photos", data=b"no photo").status_code == 422
    assert client.post("/api/v1/marks/9/photos", data=picture()).status_code == 404
    assert client.get("/api/v1/layers/9/marks").status_code == 404


def test_the_json_export_holds_the_photo_itself(client):
    send(client, "/marks/1/photo")
    whole = json.loads(client.get("/pieces/1/export.json").data)
    [photo] = whole["layers"][0]["marks"][0]["photos"]
    assert base64.b64decode(photo["base64"]) == client.get("/photos/1.jpg").data


def test_the_store_says_which_photo_is_missing(con):
    with pytest.raises(StoreError, match="no photo 5"), writing(con):
        photos.remove(con, 5, T0)
    with pytest.raises(StoreError, match="no mark 5"), writing(con):
        photos.add(con, 5, T0, 1, 1, b"x")
    assert photos.picture(con, 5) is None
    assert changes.changes(con, 1) == []
