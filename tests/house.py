"""A whole house for the browser: a store that a test fills, and a page over it."""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from conftest import need
from PIL import Image, ImageDraw
from playwright.sync_api import Browser, sync_playwright
from waitress import wasyncore
from waitress.server import create_server

from dashboard.app import create_app
from dashboard.options import Options
from dashboard.shrinking import shrunk
from monitor import assembly, brokers, shelf
from monitor.core.alarms.rules import RULES
from monitor.store import connection, intake_rows, marks, photos, pieces, readings, resins
from monitor.store.connection import writing
from monitor.store.intake_rows import Arrival
from monitor.watch import Watch, Works

CHROMIUM = Path("/usr/bin/chromium")
KEY = "home/bench/air"
T0 = 1_790_000_000.0
HOUR = 3600.0
# As the monitor's beat has them: the page words an alarm with the rule it came by.
TOLD_RULES = [
    {"key": rule.key, "priority": rule.priority, "consequence": rule.consequence, "act": rule.act}
    for rule in RULES.values()
]


@contextmanager
def chromium_of() -> Iterator[Browser]:
    """Real Chromium, without a window."""
    need(CHROMIUM.exists(), "Chromium")
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=str(CHROMIUM), args=["--no-sandbox", "--disable-dev-shm-usage"]
        )
        yield browser
        browser.close()


def photo(size: tuple[int, int] = (1200, 900)) -> bytes:
    """A made-up photo of a tray, as a phone would send it."""
    image = Image.new("RGB", size, (150, 120, 80))
    pen = ImageDraw.Draw(image)
    width, height = size
    pen.rectangle((width // 8, height // 8, width * 7 // 8, height * 7 // 8), fill=(30, 90, 120))
    for n in range(40):
        x, y = (n * 137) % (width * 3 // 4), (n * 211) % (height * 3 // 4)
        pen.ellipse(
            (x + width // 8, y + height // 8, x + width // 8 + 20, y + height // 8 + 20),
            fill=(200, 220, 230),
        )
    out = io.BytesIO()
    image.save(out, "JPEG", quality=85)
    return out.getvalue()


def stop_serving(server: Any, thread: threading.Thread) -> None:
    """End a server in its own thread: closed from here, its select could meet a closed socket."""
    server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map, True))
    thread.join(5)
    server.task_dispatcher.shutdown()
    # Whatever became of its loop: nothing of it is left to a later test.
    if server.socket is not None:
        server.socket.close()


class House:
    """A store that the test fills, and a page over it with a clock that the test moves."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "pourside.db"
        self.now_s = T0
        con = connection.open_owner(self.path)
        with writing(con):
            for profile in shelf.library():
                resins.save_resin(con, profile, T0, origin="library")
        con.close()
        self.app = create_app(
            Options(
                self.path, lambda: self.now_s, zone="Europe/Lisbon", **assembly.page_parts()
            )
        )  # fmt: skip
        self.port = brokers.free_port()
        self.server = create_server(
            self.app, host="127.0.0.1", port=self.port, asyncore_loop_timeout=0.1
        )
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def room(self, temps: np.ndarray, start_s: float, key: str = KEY) -> None:
        """Five-minute readings; the clock of the page goes to the last one."""
        rows = [
            Arrival(key, start_s + 300 * n, round(float(t) + 0.1 * (n % 2), 1), 48.0 + n % 3)
            for n, t in enumerate(temps)
        ]
        with closing(connection.open_owner(self.path)) as con, writing(con):
            intake_rows.commit(con, *key.split("/")[:2], rows, (), {}, rows[-1].taken_at_s)
        self.now_s = rows[-1].taken_at_s

    def pour(self, name: str, poured_s: float) -> None:
        """A piece with one layer and one mark."""
        with closing(connection.open_owner(self.path)) as con, writing(con):
            piece = pieces.add_piece(con, name, poured_s)
            coating = resins.resin(con, "coating_2_1")
            assert coating is not None
            layer = pieces.add_layer(
                con, piece, "Flood coat", coating, poured_s, poured_s, depth_mm=3.0,
                area_cm2=500.0,
            )  # fmt: skip
            marks.add_mark(con, layer, "tacky", poured_s + 600)

    def think(self) -> None:
        """One tick of the real monitor."""
        with closing(connection.open_owner(self.path)) as con:
            Watch(facts={"rules": TOLD_RULES}).think(con, self.now_s, Works())

    def live_in(self) -> None:
        """A cold room, two pieces on the bench: photo, correction, bottle, recipe and plan."""
        warm, cold = np.full(300, 21.0), np.full(30, 16.5)
        for temps, start_s in ((warm, T0 - 330 * 300.0), (cold, T0 - 30 * 300.0)):
            self.room(temps + 1.0, start_s, "home/shelf/air")
            self.room(temps, start_s)
            if temps is warm:
                # Planned while the room allowed it.
                self.pour("Harbour panel", T0 - 4 * HOUR)
                self.think()
                self.act("/bottles", resin="coating_2_1", part="kit", held="900", unit="ml")
                self.act("/recipes/copy", **{"from": "example:coaster_set"})
                self.act("/plan/new", recipe="1", piece="1", sure="0.8")
        self.pour("Second piece with a rather long name for a phone", T0 - 2 * HOUR)
        with closing(connection.open_owner(self.path)) as con, writing(con):
            readings.rename_sensor(con, KEY, "Bench", self.now_s)
            readings.rename_sensor(con, "home/shelf/air", "Shelf", self.now_s)
            made = shrunk(photo())
            photos.add(con, 1, self.now_s, made.width, made.height, made.jpeg)
            pieces.change_layer(con, 1, self.now_s, depth_mm=3.5)
        self.think()

    def act(self, path: str, **fields: str) -> None:
        """Send a form, as a person would; it must be taken."""
        answer = self.app.test_client().post(path, data=fields)
        assert answer.status_code == 302, answer.get_data(as_text=True)

    def url(self, path: str) -> str:
        """The address of a page."""
        return f"http://127.0.0.1:{self.port}{path}"

    def close(self) -> None:
        """Stop serving."""
        stop_serving(self.server, self.thread)
