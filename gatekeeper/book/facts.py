"""What the book is written from: the shop file, and whatever the state folder holds, controller running or not."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from gatekeeper.records.backup import CannotBackUp, look_into
from gatekeeper.records.care_log import CARE_FILE, CareLog, Done
from gatekeeper.records.history_reading import Dated, HistoryReader, HistoryUnreadableError
from gatekeeper.records.state_form import Change
from gatekeeper.records.totals import Total
from gatekeeper.service.care_jobs import Job, Trend, jobs_of, trends_of
from gatekeeper.service.commissioning_kept import record_of
from gatekeeper.service.face_commissioning import CommissioningRecord
from gatekeeper.shop.model import Shop

#: Entries of the record that are looked through for what happened, the newest. Ours.
MOST_ENTRIES = 50_000


@dataclass(frozen=True, slots=True)
class Facts:
    """All that the book says.

    Args:
        shop: the shop; text: its file, as it is written; name: the file's name.
        folder: where state was looked for.
        made_at: now.
        commissioning: what was tried, and what is still to be.
        kept, changes: settings in force, and who changed them, newest first.
        totals: hours and starts.
        entries: the newest of the record.
        log: what people did and measured.
        missing: what could not be read, sentences.
    """

    shop: Shop
    name: str
    text: str
    folder: Path
    made_at: datetime
    commissioning: CommissioningRecord
    kept: Mapping[str, Any] = field(default_factory=dict)
    changes: Sequence[Change] = ()
    totals: Sequence[Total] = ()
    entries: Sequence[Dated] = ()
    log: Sequence[Done] = ()
    missing: Sequence[str] = ()

    @property
    def jobs(self) -> list[Job]:
        return jobs_of(self.shop, self.log, self.totals, frozenset(), self.made_at.timestamp())

    @property
    def trends(self) -> list[Trend]:
        return trends_of(self.log)


def facts_of(shop: Shop, name: str, text: str, folder: Path, made_at: datetime) -> Facts:
    """Read everything; what cannot be read is said and left out."""
    missing: list[str] = []
    kept: Mapping[str, Any] = {}
    changes: Sequence[Change] = ()
    totals: Sequence[Total] = ()
    entries: Sequence[Dated] = ()
    if not folder.is_dir():
        missing.append(f"There is no state folder {folder}: settings, events, checks and care are not in this book.")
    else:
        try:
            kept, changes = look_into(folder)
        except CannotBackUp as trouble:
            missing.append(str(trouble))
        try:
            reader = HistoryReader(folder / "history.sqlite")
            totals, entries = reader.totals(), reader.last(MOST_ENTRIES)
        except HistoryUnreadableError as trouble:
            missing.append(str(trouble))
    care = CareLog(folder / CARE_FILE)
    log = care.read()
    if care.torn:
        missing.append(f"{care.torn} lines of {CARE_FILE} could not be believed and are left out.")
    tried = record_of(shop, folder, made_at.timestamp())
    return Facts(shop, name, text, folder, made_at, tried, kept, changes, totals, entries, log, missing)
