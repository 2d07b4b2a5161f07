"""What the board says of itself: model, pins, supply, and the wear of what it stores on.

Read from the kernel's own files, whose meaning is published with it: the attributes of
memory cards (`mmc-dev-attrs`), mountinfo (`proc(5)`), ext4's error count, the boards'
supply monitor (`raspberrypi-hwmon`); from memory. `root` stands for `/`, for the tests.
"""

from __future__ import annotations

import contextlib
import os
import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path("/")
HEADER_GPIO = range(28)  # what the forty-pin header leads out
_PIN = re.compile(r"(?:D|GPIO)?(\d{1,2})\Z")


@dataclass(frozen=True)
class Storage:
    """Where a path lies. `life_used_pct` is the kernel's upper estimate, None where it has none.

    `kind` is `emmc`, `sd`, `nvme`, `disk` or `unknown` (a network folder, a container).
    """

    mounted_at: str
    kind: str
    device: str
    read_only: bool
    life_used_pct: int | None = None
    worn_out: bool = False
    errors: int = 0


def model(root: Path = ROOT) -> str:
    """The board's or the machine's own name, or '' where it has none."""
    for place in ("proc/device-tree/model", "sys/devices/virtual/dmi/id/product_name"):
        name = _text(root / place).strip("\0 \n")
        if name:
            return name
    return ""


def gpio_number(pin: str) -> int | None:
    """The GPIO number of a pin named `D4`, `GPIO4` or `4`; None where it is not on the header."""
    found = _PIN.match(pin.strip())
    number = int(found[1]) if found else -1
    return number if number in HEADER_GPIO else None


def gpio_chips(root: Path = ROOT) -> list[Path]:
    """The kernel's devices for the pins."""
    return sorted((root / "dev").glob("gpiochip[0-9]*"))


def undervolted(root: Path = ROOT) -> bool | None:
    """Whether the supply fell below what the board needs; None where it cannot tell."""
    for folder in sorted((root / "sys/class/hwmon").glob("hwmon*")):
        if _text(folder / "name").strip() == "rpi_volt":
            return _text(folder / "in0_lcrit_alarm").strip() == "1"
    return None


def storage_of(path: Path, root: Path = ROOT) -> Storage:
    """Where `path` lies: the mount, the kind of memory, and how worn the kernel says it is."""
    mount, numbers, read_only = _mount_of(os.path.realpath(path), root)
    device = _device(numbers, root)
    if device is None:
        return Storage(mount, "unknown", "", read_only)
    disk = device.parent if (device / "partition").exists() else device
    kind, life, worn = "disk", None, False
    if disk.name.startswith("nvme"):
        kind = "nvme"
    elif disk.name.startswith("mmcblk"):
        kind = "emmc" if _text(disk / "device/type").strip() == "MMC" else "sd"
        life = _life_used(_text(disk / "device/life_time"))
        # 1 is normal, 2 says that 80 % of the spare blocks are used, 3 that 90 % are.
        worn = _hex(_text(disk / "device/pre_eol_info")) in (2, 3)
    errors = _text(root / "sys/fs/ext4" / device.name / "errors_count").strip()
    return Storage(
        mount, kind, disk.name, read_only, life, worn, int(errors) if errors.isdigit() else 0
    )


def _life_used(text: str) -> int | None:
    """Two numbers, one for each kind of cell: n says that up to n tenths of its life are used."""
    used = [value for value in map(_hex, text.split()) if value]
    return max(used) * 10 if used else None


def _mount_of(path: str, root: Path) -> tuple[str, str, bool]:
    best = ("/", "", False)
    for line in _text(root / "proc/self/mountinfo").splitlines():
        fields = line.split(" ")
        if len(fields) < 6:
            continue
        point = re.sub(r"\\([0-7]{3})", lambda found: chr(int(found[1], 8)), fields[4])
        under = path == point or path.startswith(point.rstrip("/") + "/")
        # Of two mounts on one point the later one is seen.
        if under and len(point) >= len(best[0]):
            above = fields[-1].split(",")
            best = (point, fields[2], "ro" in fields[5].split(",") or "ro" in above)
    return best


def _device(numbers: str, root: Path) -> Path | None:
    link = root / "sys/dev/block" / numbers
    if not numbers or not link.exists():
        return None
    return Path(os.path.realpath(link))


def _hex(text: str) -> int | None:
    with contextlib.suppress(ValueError):
        return int(text.strip(), 16)
    return None


def _text(path: Path) -> str:
    with contextlib.suppress(OSError, UnicodeDecodeError):
        return path.read_text(encoding="utf-8")
    return ""
