"""Where the shop's kit lives, how it is read, and how one entry of it is changed with its comments kept."""

from __future__ import annotations

import os
import platform
import re
from pathlib import Path
from typing import Any

from strickle.base import BadInput, declared
from strickle.job.files import kind_of, read_file
from strickle.job.folder import write_bytes
from strickle.stores import Crucible, Flask, Furnace, Kit, Stores

MOST_BYTES = 1 << 20
_TABLES: dict[str, type] = {"crucible": Crucible, "furnace": Furnace, "flask": Flask}
_VOLUME = ("holds", "water")  # words for what a pot holds; the second in kits of before


def config_folder() -> Path:
    """The person's configuration folder for strickle."""
    if os.environ.get("XDG_CONFIG_HOME"):
        return Path(os.environ["XDG_CONFIG_HOME"]) / "strickle"
    try:
        home = Path.home()
    except RuntimeError:
        return Path("strickle-config")
    mac = home / "Library" / "Application Support"
    return (mac if platform.system() == "Darwin" else home / ".config") / "strickle"


def kit_path() -> Path:
    """The shop's kit file; it need not exist, the starter kit stands in for it."""
    return config_folder() / "kit.toml"


def read_kit(path: Path | None = None, *, links: bool = True) -> Kit:
    """The kit in ``path``, else the shop's own, else the built-in starter. Raises BadInput naming the entry that cannot be read."""
    from strickle.stores.kit import read_kit as read
    from strickle.stores.kit import starter_kit

    if path is None:
        path = kit_path()
        if not _is_file(path):
            return starter_kit()
    return read(_text(path, links=links), starter_kit())


def starter() -> Kit:
    """The built-in starter kit."""
    from strickle.stores.kit import starter_kit

    return starter_kit()


def kit_text(path: Path | None = None) -> str:
    """The kit file's own text, or the starter kit written out."""
    from strickle.stores.kit import starter_kit, write_kit

    path = kit_path() if path is None else path
    return _text(path) if _is_file(path) else write_kit(starter_kit())


def stores_with(kit: Kit) -> Stores:
    """The published data with this kit laid over."""
    from strickle.stores.load import load

    return load(kit)


def alloys() -> tuple[tuple[str, str, str], ...]:
    """Key, name and family of every alloy in the stores; the name says where too little is known to plan with it."""
    from strickle.metal.steps import lacks
    from strickle.stores.load import load

    return tuple(
        (key, record.name + (" (for sums only: a plan needs more data)" if lacks(record) else ""), record.family)
        for key, record in load(starter()).metals.items()
    )


def change_kit(entries: list[str], path: Path | None = None) -> Path:
    """Change entries such as ``sand_mass=40 kg`` or ``crucible.1.holds=0.6 l`` in the kit file; it is made from the starter if absent.

    ``contraction=`` with nothing after it takes an entry out that may be left out.

    Returns the file written. Raises BadInput for an unknown entry or a value that cannot be read; then nothing is written.
    """
    import tomlkit

    from strickle.stores.kit import read_kit as read
    from strickle.stores.kit import starter_kit

    path = Path(os.path.realpath(kit_path() if path is None else path))  # through a link, not over it
    if (found := kind_of(path)) not in (None, ""):
        raise BadInput(f"{path} is {found}, not a kit file", "Give the name of a file")
    doc: Any = tomlkit.parse(kit_text(path))
    for entry in entries:
        name, equals, value = entry.partition("=")
        if not equals or not name.strip():
            raise BadInput(f"{entry!r} is not an entry", 'Give it as name=value, such as --set sand_mass="40 kg"')
        place, kind, key = _place(doc, name.strip(), path)
        if not value.strip() and any(item.name == key and item.default is None for item in declared(kind)):
            place.pop(key, None)  # nothing: the entry is taken out
            continue
        _put(place, key, _typed(kind, key, value.strip()))
    text = tomlkit.dumps(doc)
    read(text, starter_kit())
    write_bytes(path, text.encode())
    return path


def _put(table: Any, key: str, value: Any) -> None:
    import tomlkit

    item = tomlkit.item(value)
    old = table.get(key)
    if old is not None and getattr(old, "trivia", None) is not None:
        item.trivia.comment, item.trivia.comment_ws = old.trivia.comment, old.trivia.comment_ws
    table[key] = item


def _place(doc: Any, name: str, path: Path) -> tuple[Any, type, str]:
    found = re.fullmatch(r"(crucible|furnace|flask)\.(\d+)\.(\w+)", name)
    if found is None:
        table = next((t for t in _TABLES if re.match(rf"{t}s?\b", name)), None)
        if table is not None:
            raise BadInput(
                f"{name!r} does not say which {table}",
                f"Add, remove or rename pots, furnaces and flasks in {path} (strickle kit path prints where it is"
                f"{'' if _is_file(path) else '; it is made by the first --set of another entry'}), or set an entry of one by number: "
                f'--set {table}.1.name="..."',
            )
        return doc, Kit, name
    tables = doc.get(found[1], [])
    number = int(found[2])
    if not 1 <= number <= len(tables):
        raise BadInput(f"the kit has {len(tables)} {found[1]} tables, not number {number}", "Count them from 1 in the order of the file")
    table, key = tables[number - 1], found[3]
    if found[1] == "crucible" and key in _VOLUME:
        key = next((word for word in _VOLUME if word in table), _VOLUME[0])
    return table, _TABLES[found[1]], key


def _typed(kind: type, key: str, text: str) -> Any:
    """Text of the command line as the TOML value the kit file holds for this entry."""
    item = next((f for f in declared(kind) if f.name == key), None)
    if item is None:
        return text
    if item.type == "bool":
        return {"true": True, "yes": True, "false": False, "no": False}.get(text.lower(), text)
    if item.metadata["shape"]:
        return [part.strip() for part in text.strip("[]").replace('"', "").split(",")]
    return text


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError as trouble:
        raise BadInput(f"{path} cannot be looked for ({trouble.strerror})", "Give another kit with --kit, or set XDG_CONFIG_HOME") from None


def _text(path: Path, *, links: bool = True) -> str:
    try:
        return read_file(path, MOST_BYTES, links=links).decode()
    except OSError as trouble:
        raise BadInput(f"{path} cannot be read ({trouble.strerror})", "Give a kit file that strickle kit has written") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} is not text", "Give a kit file that strickle kit has written") from None
