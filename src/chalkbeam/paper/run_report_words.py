"""What a run's report says of orders, pieces and prints: the same on paper, page and terminal."""

from __future__ import annotations

from pathlib import PurePath

from chalkbeam.orders.garment_words import cut_words
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.pieces import ArtKind, Piece
from chalkbeam.orders.settings import Degrees
from chalkbeam.record.account import Account, SettingUsed, SpoiledPiece, StyleCount
from chalkbeam.record.resume import local_time
from chalkbeam.record.summary import RunSummary


def when_words(report: RunSummary) -> str:
    """Return when a run was worked, by the shop's clock."""
    begun = local_time(report.run.begun)
    # The computer's date may have been set back meanwhile: then the end is not told.
    ended = max((each.event.wall for each in report.outcomes), default="")
    if ended <= report.run.begun:
        return begun
    told = local_time(ended)
    return f"{begun} to {told.removeprefix(begun[:10]).strip()}"


def who_words(report: RunSummary) -> str:
    """Return who worked a run and at which presses; empty where nobody was named."""
    events = [each.event for each in report.outcomes]
    who = ", ".join(dict.fromkeys(each.operator for each in events if each.operator))
    rigs = ", ".join(dict.fromkeys(each.rig for each in events if each.rig))
    return " ".join(part for part in (who and f"by {who}", rigs and f"on {rigs}") if part)


def garment_words(count: StyleCount) -> str:
    """Return what tells garments from others: “crew tee · navy”."""
    return " · ".join(part for part in (count.garment, count.colour) if part)


def sizes_words(count: StyleCount) -> tuple[str, ...]:
    """Return the sizes with their pieces: “M 3”, or “M 2 of 3” where some are not finished."""
    return tuple(map(str, count.sizes))


def setting_words(used: SettingUsed, degrees: Degrees = Degrees.AS_WRITTEN) -> str:
    """Return what imprints were pressed with; what the sheet did not say is said to be so."""
    setting = used.setting.words(degrees) if used.setting is not None else ""
    return ": ".join(part for part in (used.transfer, setting) if part) or "not on the sheet"


def count_words(used: SettingUsed) -> str:
    """Return how many imprints that was, and how often the press was set to it."""
    prints = f"{used.imprints} imprint{'' if used.imprints == 1 else 's'}"
    return f"{prints}, set {used.set} time{'' if used.set == 1 else 's'}" if used.set else prints


def piece_words(piece: Piece) -> str:
    """Return what tells a piece from all others: “7-2: crew tee, navy, M, INÉS 7”."""
    garment = cut_words(piece)
    worn = " ".join(part for part in (piece.name, piece.number) if part)
    parts = (garment, piece.colour, piece.size, worn, piece.recipient and f"for {piece.recipient}")
    return f"{piece.id}: {', '.join(part for part in parts if part)}"


def spoiled_words(spoiled: SpoiledPiece) -> str:
    """Return what became of a spoiled garment."""
    if spoiled.replaced:
        return f"{spoiled.reason}; a fresh one took its place"
    return f"{spoiled.reason}; left out{f', no {spoiled.missing} left' if spoiled.missing else ''}"


def to_press_lines(account: Account) -> tuple[tuple[str, str], ...]:
    """Return the pieces that something is left to press on, and what."""
    prints: dict[str, list[str]] = {}
    pieces: dict[str, Piece] = {}
    for stop in account.to_press:
        pieces[stop.piece.id] = stop.piece
        prints.setdefault(stop.piece.id, []).append(_print_words(stop))
    return tuple((piece_words(piece), "; ".join(prints[key])) for key, piece in pieces.items())


def _print_words(stop: Stop) -> str:
    art = stop.imprint.art
    what = PurePath(art.text).stem if art.kind is ArtKind.FILE else art.text
    return f"{stop.imprint.location.replace('-', ' ')}: {what}"
